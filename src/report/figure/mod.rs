//! Figures: curves, the linkage in side view, the course of a search, as SVG.
//!
//! A figure is drawn once with every layout in it; which of them stands out is a matter of
//! style sheet classes, so that a page selects by changing classes and a file on its own shows
//! one. Nothing is told by colour alone: what is wanted is framed, a second layout is dashed,
//! cogs are labelled at the ends of their lines.
//!
//! - `axis`, `plot`: ticks, and from values to places on the paper.
//! - `chart`: curves over the travel; `curves`, `wanted`: which curves and what is wanted there.
//! - `scene`, `side_view`: the linkage and the bicycle around it, at any moment.
//! - `map`, `cell`: safe regions, all about the linkage and each by itself.
//! - `gaps`: how near parts come to each other over the travel.
//! - `search`: the best score over the starts.

mod axis;
mod cell;
mod chart;
mod curves;
mod gaps;
mod labels;
mod map;
mod path;
mod plot;
mod scene;
mod search;
mod side_view;
mod wanted;

pub(super) use cell::cell;
pub use curves::charts;
pub(super) use gaps::gaps;
pub(super) use map::{map, view};
pub(super) use path::px;
pub(super) use scene::Stage;
pub use search::course;
pub(super) use side_view::{View, views};

use maud::{Markup, PreEscaped, html};

/// Colours and lines of every figure; the page takes the same.
pub const STYLE: &str = include_str!("style.css");

/// A drawn figure.
#[derive(Clone, Debug)]
pub struct Figure {
    /// Its name in files and links: lower case, with hyphens.
    pub name: String,
    /// What it shows, in a few words.
    pub title: String,
    /// How to read it.
    pub caption: String,
    /// Width of the drawing, px.
    pub width: f64,
    /// Height of the drawing, px.
    pub height: f64,
    /// What is drawn.
    pub drawing: Markup,
    /// Attributes for a script that moves the drawing: scale and origin.
    pub placed: Option<[f64; 3]>,
}

impl Figure {
    /// The drawing as an element of a page.
    #[must_use]
    pub fn svg(&self) -> Markup {
        let size = format!("0 0 {} {}", px(self.width), px(self.height));
        let placed = self
            .placed
            .map(|[scale, left, top]| format!("{scale:.5} {left:.2} {top:.2}"));
        html! {
            svg xmlns="http://www.w3.org/2000/svg" viewBox=(size) role="img" class="drawing"
                aria-label={ (self.title) ". " (self.caption) } data-placed=[placed] {
                (self.drawing)
            }
        }
    }

    /// The drawing as a file of its own, with title and caption.
    #[must_use]
    pub fn file(&self) -> String {
        let lines = wrapped(&self.caption, self.width / 7.0);
        let head = 34.0;
        let foot = 14.0 + 16.0 * lines.len() as f64;
        let height = self.height + head + foot;
        let size = format!("0 0 {} {}", px(self.width), px(height));
        let drawing = html! {
            svg xmlns="http://www.w3.org/2000/svg" viewBox=(size) width=(px(self.width))
                height=(px(height)) role="img" {
                title { (self.title) }
                desc { (self.caption) }
                style { (PreEscaped(STYLE)) }
                rect class="paper" width="100%" height="100%" {}
                text class="heading" x="12" y="22" { (self.title) }
                svg x="0" y=(px(head)) width=(px(self.width)) height=(px(self.height)) {
                    (self.drawing)
                }
                @for (index, line) in lines.iter().enumerate() {
                    text class="caption" x="12"
                        y=(px(head + self.height + 16.0 + 16.0 * index as f64)) { (line) }
                }
            }
        };
        drawing.into_string() + "\n"
    }
}

/// Lines of at most so many letters, broken between words.
fn wrapped(text: &str, letters: f64) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.len() - 1;
        let line = &mut lines[last];
        if line.is_empty() {
            line.push_str(word);
        } else if (line.chars().count() + 1 + word.chars().count()) as f64 <= letters {
            line.push(' ');
            line.push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn captions_break_between_words() {
        assert_eq!(wrapped("one two three", 7.0), ["one two", "three"]);
        assert_eq!(wrapped("unbreakable", 4.0), ["unbreakable"]);
    }
}
