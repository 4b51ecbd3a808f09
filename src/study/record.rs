//! A round of starts as bytes, for a journal.
//!
//! Numbers are little-endian, reals by their bits, so that what is read is what was written.
//! Points are not written: they follow from the variables.

use super::found::Round;
use super::history::Milestone;
use super::robustness::NearestEdge;
use super::search::{Endings, SizeTally};
use super::start::{Candidate, Ending, Starter};
use super::yields::{Yield, Yields};
use crate::design::RowSource;
use crate::input::PointId;

/// Endings in the order in which their counts are written.
const ENDINGS: [Ending; 4] = [
    Ending::Feasible,
    Ending::Infeasible,
    Ending::NotVerified,
    Ending::NotAssembled,
];

/// A record cannot be read: it is not of this search.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a record that is not of this search")]
pub struct RecordError;

/// The bytes of a round.
pub(super) fn encode(round: &Round) -> Vec<u8> {
    let mut to = Writer(Vec::new());
    to.u64(round.starts);
    to.u64(round.evaluations);
    for ending in ENDINGS {
        to.u64(round.endings.get(&ending).copied().unwrap_or(0));
    }
    to.count(round.sizes.len());
    for tally in &round.sizes {
        to.u64(tally.starts);
        to.u64(tally.feasible);
        to.u8(tally.best.is_some().into());
        to.f64(tally.best.unwrap_or(0.0));
    }
    for of in round.yields.all() {
        to.u64(of.times);
        to.u64(of.evaluations);
        to.u64(of.layouts);
        to.u64(of.ranked);
    }
    to.count(round.milestones.len());
    for milestone in &round.milestones {
        to.u64(milestone.starts);
        to.f64(milestone.best);
    }
    to.u8(round.news.into());
    round.sides.iter().for_each(|&side| to.f64(side));
    to.count(round.entered.len());
    for candidate in &round.entered {
        write_candidate(&mut to, candidate);
    }
    to.0
}

fn write_candidate(to: &mut Writer, candidate: &Candidate) {
    to.u64(candidate.start);
    to.count(candidate.size);
    to.u8(candidate.feasible.into());
    to.f64(candidate.score);
    to.f64(candidate.violation);
    to.count(candidate.x.len());
    candidate.x.iter().for_each(|&value| to.f64(value));
    to.u8(candidate.edge.is_some().into());
    if let Some(edge) = &candidate.edge {
        to.count(edge.point.index());
        to.f64(edge.distance);
        let (kind, index) = match edge.breaks {
            RowSource::Target(index) => (0, index),
            RowSource::Limit(index) => (1, index),
            RowSource::EndBox => (2, 0),
            RowSource::Motion => (3, 0),
        };
        to.u8(kind);
        to.count(index);
    }
}

/// The round that `bytes` hold, of a search with these tallies of no start yet.
///
/// # Errors
/// They hold none, or none of this search.
pub(super) fn decode(
    starter: &Starter,
    none: &[SizeTally],
    bytes: &[u8],
) -> Result<Round, RecordError> {
    let mut from = Reader(bytes);
    let round = read_round(starter, none, &mut from).ok_or(RecordError)?;
    if from.0.is_empty() {
        Ok(round)
    } else {
        Err(RecordError)
    }
}

fn read_round(starter: &Starter, none: &[SizeTally], from: &mut Reader) -> Option<Round> {
    let (starts, evaluations) = (from.u64()?, from.u64()?);
    let mut endings = Endings::new();
    for ending in ENDINGS {
        let count = from.u64()?;
        if count > 0 {
            endings.insert(ending, count);
        }
    }
    if from.count()? != starter.problems.len() {
        return None;
    }
    let mut sizes = Vec::new();
    for none in none {
        let mut tally = *none;
        tally.starts = from.u64()?;
        tally.feasible = from.u64()?;
        let known = from.flag()?;
        let best = from.f64()?;
        tally.best = known.then_some(best);
        sizes.push(tally);
    }
    let mut yields = Yields::none(sizes.len());
    for of in yields.all_mut() {
        *of = Yield {
            times: from.u64()?,
            evaluations: from.u64()?,
            layouts: from.u64()?,
            ranked: from.u64()?,
        };
    }
    let mut milestones = Vec::new();
    for _ in 0..from.count()? {
        let (starts, best) = (from.u64()?, from.f64()?);
        milestones.push(Milestone { starts, best });
    }
    let news = from.flag()?;
    let sides = [from.f64()?, from.f64()?];
    let count = from.count()?;
    let mut entered = Vec::new();
    for _ in 0..count {
        entered.push(read_candidate(starter, from)?);
    }
    Some(Round {
        starts,
        evaluations,
        endings,
        sizes,
        yields,
        milestones,
        news,
        sides,
        entered,
    })
}

fn read_candidate(starter: &Starter, from: &mut Reader) -> Option<Candidate> {
    let (start, size) = (from.u64()?, from.count()?);
    let problem = starter.problems.get(size)?;
    let (feasible, score, violation) = (from.flag()?, from.f64()?, from.f64()?);
    if from.count()? != problem.construction().variables().len() {
        return None;
    }
    let variables = problem.construction().variables().iter();
    let x = variables
        .map(|_| from.f64())
        .collect::<Option<Vec<f64>>>()?;
    let points = problem.construction().points(&x);
    let edge = if from.flag()? {
        let point = PointId(from.count()?);
        points.get(point.index())?;
        let distance = from.f64()?;
        let breaks = match (from.u8()?, from.count()?) {
            (0, index) => RowSource::Target(index),
            (1, index) => RowSource::Limit(index),
            (2, 0) => RowSource::EndBox,
            (3, 0) => RowSource::Motion,
            _ => return None,
        };
        Some(NearestEdge {
            point,
            distance,
            breaks,
        })
    } else {
        None
    };
    Some(Candidate {
        start,
        size,
        x,
        points,
        feasible,
        score,
        violation,
        edge,
    })
}

struct Writer(Vec<u8>);

impl Writer {
    fn u8(&mut self, value: u8) {
        self.0.push(value);
    }

    fn u64(&mut self, value: u64) {
        self.0.extend(value.to_le_bytes());
    }

    fn f64(&mut self, value: f64) {
        self.u64(value.to_bits());
    }

    /// A small number: of things in memory there are fewer than 2^32.
    fn count(&mut self, value: usize) {
        let value = u32::try_from(value).unwrap_or(u32::MAX);
        self.0.extend(value.to_le_bytes());
    }
}

struct Reader<'b>(&'b [u8]);

impl Reader<'_> {
    fn bytes<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (first, rest) = self.0.split_first_chunk::<N>()?;
        self.0 = rest;
        Some(*first)
    }

    fn u8(&mut self) -> Option<u8> {
        self.bytes::<1>().map(|[byte]| byte)
    }

    fn flag(&mut self) -> Option<bool> {
        match self.u8()? {
            0 => Some(false),
            1 => Some(true),
            _ => None,
        }
    }

    fn u64(&mut self) -> Option<u64> {
        self.bytes().map(u64::from_le_bytes)
    }

    fn f64(&mut self) -> Option<f64> {
        self.u64().map(f64::from_bits)
    }

    fn count(&mut self) -> Option<usize> {
        let value = self.bytes().map(u32::from_le_bytes)?;
        usize::try_from(value).ok()
    }
}
