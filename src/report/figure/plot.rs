//! From values to places on the paper.

use super::axis::Axis;
use super::path::Path;
use super::px;
use maud::{Markup, html};

/// Width of a chart, px.
pub(super) const WIDTH: f64 = 640.0;
/// Height of a chart, px.
pub(super) const HEIGHT: f64 = 380.0;
/// Room for the labels of the upright axis, px.
const LEFT: f64 = 62.0;
/// Room at the ends of lines for what they are, px.
const RIGHT: f64 = 64.0;
/// Room above, px.
const TOP: f64 = 14.0;
/// Room for the labels of the level axis, px.
const BOTTOM: f64 = 48.0;

/// Two axes and the paper between them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plot {
    /// To the right.
    pub across: Axis,
    /// Upward.
    pub up: Axis,
}

/// A pair of values: across, up.
pub(super) type Pair = (f64, f64);

impl Plot {
    /// Where a value stands, px from the left.
    pub fn x(&self, value: f64) -> f64 {
        LEFT + self.across.share(value) * (WIDTH - LEFT - RIGHT)
    }

    /// Where a value stands, px from above.
    pub fn y(&self, value: f64) -> f64 {
        HEIGHT - BOTTOM - self.up.share(value) * (HEIGHT - TOP - BOTTOM)
    }

    /// The left and right edge, px.
    pub const fn sides() -> [f64; 2] {
        [LEFT, WIDTH - RIGHT]
    }

    /// The upper and lower edge, px.
    pub const fn levels() -> [f64; 2] {
        [TOP, HEIGHT - BOTTOM]
    }

    /// The line through `pairs`, broken where a value is no number.
    pub fn path(&self, pairs: &[Pair]) -> String {
        let mut path = Path::default();
        for &(across, up) in pairs {
            let (x, y) = (self.x(across), self.y(up));
            if x.is_finite() && y.is_finite() {
                path.to(x, y);
            } else {
                path.lift();
            }
        }
        path.text()
    }

    /// Grid, ticks and the titles of the axes.
    pub fn axes(&self, across: &str, up: &str) -> Markup {
        let ([left, right], [top, bottom]) = (Self::sides(), Self::levels());
        let middle = px(f64::midpoint(top, bottom));
        html! {
            g class="grid" {
                @for tick in self.up.ticks() {
                    path d={ "M" (px(left)) " " (px(self.y(tick))) "H" (px(right)) } {}
                    text class="tick upright" x=(px(left - 8.0)) y=(px(self.y(tick) + 4.0)) {
                        (self.up.label(tick))
                    }
                }
                @for tick in self.across.ticks() {
                    path class="mark"
                        d={ "M" (px(self.x(tick))) " " (px(bottom)) "v6" } {}
                    text class="tick" x=(px(self.x(tick))) y=(px(bottom + 19.0)) {
                        (self.across.label(tick))
                    }
                }
                path class="base" d={ "M" (px(left)) " " (px(bottom)) "H" (px(right)) } {}
                text class="axis" x=(px(f64::midpoint(left, right))) y=(px(HEIGHT - 8.0)) {
                    (across)
                }
                text class="axis" transform={ "rotate(-90 15 " (middle) ")" } x="15" y=(middle) {
                    (up)
                }
            }
        }
    }
}
