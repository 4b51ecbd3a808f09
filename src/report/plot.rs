//! Curves as plots of letters, for a terminal.
//!
//! In Braille dots, two across and four up in every letter, or where only ASCII can be shown in
//! stars. Each line ends in its name; sag is marked below.

use super::Subject;
use super::table::fixed;
use super::words;
use crate::curves::Cog;
use crate::input::{Curve, Place};
use std::fmt::Write;

/// Height of a plot, lines.
const ROWS: usize = 9;
/// Room for the values on the left, letters.
const LEFT: usize = 9;
/// Room for names of lines on the right, letters.
const RIGHT: usize = 6;
/// No plot is narrower, letters.
const NARROWEST: usize = 30;
/// A plot that is wider shows nothing more, letters.
const WIDEST: usize = 110;

/// What is plotted.
const SHOWN: [Curve; 4] = [
    Curve::LeverageRate,
    Curve::AntiSquat,
    Curve::AntiRise,
    Curve::PedalKickback,
];

/// What a terminal can show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Terminal {
    /// Width, letters.
    pub width: usize,
    /// Whether it shows more than ASCII.
    pub unicode: bool,
    /// Whether it shows colours, and they are wanted.
    pub colour: bool,
}

/// A grid of dots, each with the number of the line that it is on.
struct Dots {
    wide: usize,
    tall: usize,
    lines: Vec<Option<usize>>,
}

impl Dots {
    fn new(wide: usize, tall: usize) -> Self {
        Self {
            wide,
            tall,
            lines: vec![None; wide * tall],
        }
    }

    fn set(&mut self, across: usize, up: f64, line: usize) {
        let down = nearest(1.0 - up, self.tall);
        self.lines[down * self.wide + across] = Some(line);
    }

    fn at(&self, across: usize, down: usize) -> Option<usize> {
        self.lines[down * self.wide + across]
    }
}

/// Which of `count` places from 0 to 1 is nearest to `share`.
fn nearest(share: f64, count: usize) -> usize {
    let place = |index: usize| index as f64 / (count - 1) as f64;
    let off = |index: &usize| (place(*index) - share).abs();
    let all = 0..count;
    all.min_by(|one, other| off(one).total_cmp(&off(other)))
        .unwrap_or(0)
}

/// The plots of a layout's curves.
#[must_use]
pub fn text(subject: &Subject, terminal: Terminal) -> String {
    let width = terminal.width.clamp(NARROWEST, WIDEST);
    let mut text = String::new();
    for curve in SHOWN {
        let _ = writeln!(text, "{}", plot(subject, curve, width, terminal));
    }
    text
}

/// The cogs whose lines are shown: the smallest, the middle, the largest.
fn cogs(subject: &Subject, curve: Curve) -> Vec<Cog> {
    let mut cogs = subject.suspension.bicycle().cogs().to_vec();
    cogs.sort_by_key(|cog| cog.teeth);
    if !curve.depends_on_cog() {
        cogs.truncate(1);
        return cogs;
    }
    let last = cogs.len().saturating_sub(1);
    let mut shown: Vec<Cog> = [0, last / 2, last]
        .iter()
        .filter_map(|&index| cogs.get(index).copied())
        .collect();
    shown.dedup_by_key(|cog| cog.teeth);
    shown
}

fn plot(subject: &Subject, curve: Curve, width: usize, terminal: Terminal) -> String {
    let letters = width - LEFT - RIGHT;
    let (across, up) = if terminal.unicode { (2, 4) } else { (1, 1) };
    let (wide, tall) = (letters * across, ROWS * up);
    let cogs = cogs(subject, curve);
    let states: Vec<_> = (0..wide)
        .map(|index| {
            let fraction = index as f64 / (wide - 1) as f64;
            subject.at(Place::Fraction(fraction))
        })
        .collect();
    let lines: Vec<Vec<f64>> = cogs
        .iter()
        .map(|&cog| {
            let value = |state| subject.suspension.value(curve, state, cog);
            states.iter().map(value).collect()
        })
        .collect();
    let (low, high) = range(&lines);
    let mut dots = Dots::new(wide, tall);
    for (number, values) in lines.iter().enumerate() {
        for (index, value) in values.iter().enumerate() {
            dots.set(index, (value - low) / (high - low), number);
        }
    }
    let names: Vec<(usize, String)> = cogs
        .iter()
        .zip(&lines)
        .map(|(cog, values)| {
            let last = values.last().copied().unwrap_or(low);
            let row = nearest((high - last) / (high - low), ROWS);
            let name = curve.depends_on_cog().then(|| format!("{} t", cog.teeth));
            (row, name.unwrap_or_default())
        })
        .collect();
    let mut text = format!("{}{}\n", words::curve(curve), words::unit(curve.unit()));
    let decimals = words::decimals(curve.unit()).min(2);
    for row in 0..ROWS {
        let label = match row {
            0 => fixed(high, decimals),
            row if row == ROWS - 1 => fixed(low, decimals),
            row if row == ROWS / 2 => fixed(f64::midpoint(low, high), decimals),
            _ => String::new(),
        };
        let edge = if terminal.unicode { '│' } else { '|' };
        let drawn: String = (0..letters)
            .map(|letter| cell(&dots, letter, row, terminal))
            .collect();
        let name = names
            .iter()
            .filter(|(at, _)| *at == row)
            .map(|(_, name)| name.as_str());
        let name = name.collect::<Vec<_>>().join(" ");
        let line = format!("{label:>width$} {edge}{drawn} {name}", width = LEFT - 2);
        let _ = writeln!(text, "{}", line.trim_end());
    }
    text += &foot(subject, letters, terminal);
    text
}

/// Both ends of the upright axis: a curve that hardly changes is not blown up.
fn range(lines: &[Vec<f64>]) -> (f64, f64) {
    let all = lines
        .iter()
        .flatten()
        .copied()
        .filter(|value| value.is_finite());
    let (low, high) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    if low > high {
        return (0.0, 1.0);
    }
    let least = 0.02 * high.abs().max(low.abs()).max(1e-3);
    if high - low < least {
        let middle = f64::midpoint(low, high);
        return (middle - least / 2.0, middle + least / 2.0);
    }
    (low, high)
}

/// Bits of the dots of a Braille letter, column by column from above (Unicode, block 2800).
const BRAILLE: [[u32; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];

fn cell(dots: &Dots, letter: usize, row: usize, terminal: Terminal) -> String {
    if !terminal.unicode {
        let mark = dots.at(letter, row).map_or(' ', |_| '*');
        return mark.to_string();
    }
    let (mut bits, mut line) = (0, None);
    for (across, column) in BRAILLE.iter().enumerate() {
        for (down, bit) in column.iter().enumerate() {
            if let Some(number) = dots.at(2 * letter + across, 4 * row + down) {
                bits |= bit;
                line = Some(number);
            }
        }
    }
    let Some(line) = line else {
        return " ".into();
    };
    let drawn = char::from_u32(0x2800 + bits).unwrap_or(' ');
    if terminal.colour {
        // Cyan, yellow, magenta: apart in brightness too.
        let colour = [36, 33, 35][line % 3];
        format!("\u{1b}[{colour}m{drawn}\u{1b}[0m")
    } else {
        drawn.to_string()
    }
}

/// The axis of the travel, with sag.
fn foot(subject: &Subject, letters: usize, terminal: Terminal) -> String {
    let (corner, level, tick) = if terminal.unicode {
        ('└', '─', '┴')
    } else {
        ('+', '-', '+')
    };
    let total = subject.suspension.total_travel();
    let sag = subject.at(Place::Sag).travel;
    let place = nearest(sag / total, letters);
    let axis: String = (0..letters)
        .map(|letter| if letter == place { tick } else { level })
        .collect();
    let (name, end) = (
        format!("sag {}", fixed(sag, 0)),
        format!("{} mm", fixed(total, 0)),
    );
    let pad = " ".repeat(LEFT - 1);
    let mut under = "0".to_owned();
    under += &" ".repeat(place.saturating_sub(under.len()));
    under += &name;
    let rest = letters.saturating_sub(under.len() + end.len());
    under += &" ".repeat(rest.max(1));
    under += &end;
    format!("{pad}{corner}{axis}\n{pad} {under}\n")
}
