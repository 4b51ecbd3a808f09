//! Curves of several layouts in one pair of axes, with what is wanted of them.

use super::axis::Axis;
use super::labels::apart;
use super::plot::{HEIGHT, Pair, Plot, WIDTH};
use super::{Figure, px};
use maud::{Markup, html};

/// Least distance of two labels at the ends of lines, px.
const LABEL_GAP: f64 = 15.0;

/// A chart, before it is drawn.
#[derive(Clone, Debug)]
pub(super) struct Chart {
    pub name: &'static str,
    pub title: String,
    pub caption: String,
    /// Titles of the axes, units included.
    pub across: String,
    pub up: String,
    /// Whether the travel is on the upright axis.
    pub travel_up: bool,
    /// Least range of the axis that is not the travel, in its unit.
    pub least_span: f64,
    pub layouts: Vec<ChartLayout>,
}

/// One layout's part of a chart.
#[derive(Clone, Debug)]
pub(super) struct ChartLayout {
    /// Its rank, from 1.
    pub rank: usize,
    /// Its travel at sag, mm.
    pub sag: f64,
    pub lines: Vec<Line>,
    /// The straight line that a curve is held against.
    pub chord: Option<[Pair; 2]>,
    pub wanted: Vec<Wanted>,
}

/// One curve.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// What stands at its end.
    pub label: String,
    /// Whether it stays where the layout only stands behind another.
    pub outer: bool,
    pub pairs: Vec<Pair>,
}

/// What a target wants, in the chart's own values.
#[derive(Clone, Debug)]
pub(super) enum Wanted {
    /// A gate to pass at one place of the travel.
    Gate {
        at: f64,
        low: f64,
        high: f64,
        /// The value aimed at, where there is one.
        aim: Option<f64>,
    },
    /// An area to stay in: its corners, in turn.
    Band(Vec<Pair>),
}

impl Wanted {
    fn pairs(&self) -> Vec<Pair> {
        match self {
            Self::Gate { at, low, high, .. } => vec![(*at, *low), (*at, *high)],
            Self::Band(corners) => corners.clone(),
        }
    }
}

impl Chart {
    /// Draws it; the first layout stands out.
    pub fn draw(self) -> Figure {
        let plot = self.plot();
        let drawing = html! {
            (plot.axes(&self.across, &self.up))
            @for layout in self.layouts.iter().rev() {
                (layout_group(&plot, layout, self.travel_up))
            }
            (self.cursor(&plot))
        };
        Figure {
            name: self.name.to_owned(),
            title: self.title,
            caption: self.caption,
            width: WIDTH,
            height: HEIGHT,
            drawing,
            placed: None,
        }
    }

    fn plot(&self) -> Plot {
        let pairs: Vec<Pair> = self
            .layouts
            .iter()
            .flat_map(|layout| {
                let lines = layout.lines.iter().flat_map(|line| line.pairs.clone());
                lines.chain(layout.wanted.iter().flat_map(Wanted::pairs))
            })
            .collect();
        let across = pairs.iter().map(|pair| pair.0);
        let up = pairs.iter().map(|pair| pair.1);
        let (span_across, span_up) = if self.travel_up {
            (self.least_span, 10.0)
        } else {
            (10.0, self.least_span)
        };
        Plot {
            across: Axis::covering(across, span_across, 8.0),
            up: Axis::covering(up, span_up, 6.0),
        }
    }

    /// The line that a page moves along the travel; it tells its scale itself.
    fn cursor(&self, plot: &Plot) -> Markup {
        let ([left, right], [top, bottom]) = (Plot::sides(), Plot::levels());
        let place = |travel: f64| {
            if self.travel_up {
                plot.y(travel)
            } else {
                plot.x(travel)
            }
        };
        let scale = format!("{:.4} {:.4}", place(0.0), place(1.0) - place(0.0));
        let line = if self.travel_up {
            format!("M{} 0H{}", px(left), px(right))
        } else {
            format!("M0 {}V{}", px(top), px(bottom))
        };
        let along = if self.travel_up { "y" } else { "x" };
        html! { path class="cursor" data-along=(along) data-scale=(scale) d=(line) {} }
    }
}

fn layout_group(plot: &Plot, layout: &ChartLayout, travel_up: bool) -> Markup {
    let class = if layout.rank == 1 {
        "layout shown"
    } else {
        "layout"
    };
    html! {
        g class=(class) data-layout=(layout.rank) {
            @for wanted in &layout.wanted { (wanted_mark(plot, wanted)) }
            (sag_line(plot, layout.sag, travel_up))
            @if let Some(chord) = layout.chord {
                path class="chord" d=(plot.path(&chord)) {}
            }
            @for line in &layout.lines {
                path class=(if line.outer { "curve" } else { "curve inner" })
                    d=(plot.path(&line.pairs)) {}
            }
            (line_labels(plot, layout))
            (other_label(plot, layout))
        }
    }
}

fn sag_line(plot: &Plot, sag: f64, travel_up: bool) -> Markup {
    let ([left, right], [top, bottom]) = (Plot::sides(), Plot::levels());
    html! {
        @if travel_up {
            path class="sag" d={ "M" (px(left)) " " (px(plot.y(sag))) "H" (px(right)) } {}
            text class="sag-name" x=(px(left + 5.0)) y=(px(plot.y(sag) - 5.0)) { "sag" }
        } @else {
            path class="sag" d={ "M" (px(plot.x(sag))) " " (px(top)) "V" (px(bottom)) } {}
            text class="sag-name" x=(px(plot.x(sag) + 5.0)) y=(px(bottom - 6.0)) { "sag" }
        }
    }
}

fn wanted_mark(plot: &Plot, wanted: &Wanted) -> Markup {
    html! {
        @match wanted {
            Wanted::Gate { at, low, high, aim } => {
                @let (x, low, high) = (plot.x(*at), plot.y(*low), plot.y(*high));
                rect class="wanted gate" x=(px(x - 4.0)) y=(px(high)) width="8"
                    height=(px(low - high)) {}
                @if let Some(aim) = aim {
                    path class="aim" d={ "M" (px(x - 7.0)) " " (px(plot.y(*aim))) "h14" } {}
                }
            }
            Wanted::Band(corners) => {
                path class="wanted" d={ (plot.path(corners)) "Z" } {}
            }
        }
    }
}

/// What each line is, at its end, with a leader where it had to give way.
fn line_labels(plot: &Plot, layout: &ChartLayout) -> Markup {
    let [top, bottom] = Plot::levels();
    let ends: Vec<(f64, f64)> = layout
        .lines
        .iter()
        .map(|line| {
            let last = line.pairs.last().copied().unwrap_or((0.0, 0.0));
            (plot.x(last.0), plot.y(last.1))
        })
        .collect();
    let wanted: Vec<f64> = ends.iter().map(|end| end.1).collect();
    let places = apart(&wanted, LABEL_GAP, top + 4.0, bottom);
    let right = Plot::sides()[1];
    html! {
        g class="ends" {
            @for ((line, end), place) in layout.lines.iter().zip(&ends).zip(&places) {
                path class="leader"
                    d={ "M" (px(end.0)) " " (px(end.1)) "L" (px(right + 10.0)) " " (px(*place)) } {}
                text class="end" x=(px(right + 13.0)) y=(px(place + 4.0)) { (line.label) }
            }
        }
    }
}

/// Where the layout is the one compared with: its name over its highest line.
fn other_label(plot: &Plot, layout: &ChartLayout) -> Markup {
    let places = layout
        .lines
        .iter()
        .filter_map(|line| line.pairs.get(line.pairs.len() * 2 / 3));
    let highest = places.max_by(|one, other| one.1.total_cmp(&other.1));
    html! {
        @if let Some(&(across, up)) = highest {
            text class="other-name" x=(px(plot.x(across) + 4.0)) y=(px(plot.y(up) - 8.0)) {
                "no. " (layout.rank)
            }
        }
    }
}
