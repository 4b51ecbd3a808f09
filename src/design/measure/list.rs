//! The list of reported numbers, and the numbers that a target looks at.

use super::{Form, Measure};
use crate::curves::{Bicycle, Cog, Suspension};
use crate::design::target_rows::named_cogs;
use crate::input::{
    Clearance, Curve, Layout, Limit, LimitQuantity, Place, Quantity, Summary, Target, Want,
};
use crate::room::{Room, Sweep, neighbours};
use std::sync::Arc;

/// Every number that sensitivity, drift and tolerance tables report of a layout.
///
/// A number added here appears in all of them.
#[must_use]
pub fn reported(bicycle: &Bicycle) -> Vec<Measure> {
    let cogs = Cassette::of(bicycle);
    let mut list = leverage(&cogs);
    list.extend(anti_squat(&cogs));
    list.extend(brake_and_pedals(&cogs));
    list.extend(geometry(&cogs));
    list
}

fn measure(
    name: impl Into<String>,
    heading: impl Into<String>,
    unit: &'static str,
    noticeable: f64,
    form: Form,
) -> Measure {
    Measure {
        name: name.into(),
        heading: heading.into(),
        unit,
        noticeable,
        form,
    }
}

const fn at(curve: Curve, cog: Cog, place: Place) -> Form {
    Form::At { curve, cog, place }
}

/// Top to end.
const WHOLE: (Place, Place) = (Place::Top, Place::End);

fn leverage(cogs: &Cassette) -> Vec<Measure> {
    let (curve, cog) = (Curve::LeverageRate, cogs.smallest);
    let places = [
        ("top", Place::Top),
        ("sag", Place::Sag),
        ("end", Place::End),
    ];
    let mut list: Vec<Measure> = places
        .into_iter()
        .map(|(place, at_place)| {
            let (name, heading) = (format!("leverage_rate_{place}"), format!("rate {place}"));
            measure(name, heading, "mm/mm", 0.1, at(curve, cog, at_place))
        })
        .collect();
    let form = Form::Deviation {
        curve,
        cog,
        range: WHOLE,
    };
    list.push(measure("straightness", "off straight", "mm/mm", 0.05, form));
    let form = at(Curve::Travel, cog, Place::End);
    list.push(measure("total_travel", "travel", "mm", 5.0, form));
    list
}

fn anti_squat(cogs: &Cassette) -> Vec<Measure> {
    let curve = Curve::AntiSquat;
    let mut three = vec![cogs.smallest, cogs.middle, cogs.largest];
    three.dedup();
    let mut list: Vec<Measure> = three
        .into_iter()
        .map(|cog| {
            let (name, heading) = (
                format!("anti_squat_sag_{}", cog.teeth),
                format!("squat {}", cog.teeth),
            );
            measure(name, heading, "%", 10.0, at(curve, cog, Place::Sag))
        })
        .collect();
    if cogs.all.len() > 1 {
        let range = (Place::Sag, Place::Sag);
        let form = Form::Spread {
            curve,
            cogs: cogs.all.clone(),
            range,
        };
        list.push(measure(
            "anti_squat_spread_at_sag",
            "over cogs",
            "%",
            10.0,
            form,
        ));
    }
    let name = format!("anti_squat_spread_over_travel_{}", cogs.middle.teeth);
    let form = Form::Spread {
        curve,
        cogs: vec![cogs.middle],
        range: WHOLE,
    };
    list.push(measure(name, "over travel", "%", 10.0, form));
    list
}

fn brake_and_pedals(cogs: &Cassette) -> Vec<Measure> {
    let (curve, cog) = (Curve::AntiRise, cogs.smallest);
    let mean = Form::Mean { curve, cog };
    let spread = Form::Spread {
        curve,
        cogs: vec![cog],
        range: WHOLE,
    };
    let kickback = |curve: Curve, heading: &str| {
        let name = format!("{}_end_{}", curve.name(), cogs.largest.teeth);
        measure(
            name,
            heading,
            "deg",
            3.0,
            at(curve, cogs.largest, Place::End),
        )
    };
    vec![
        measure("anti_rise_mean", "rise mean", "%", 10.0, mean),
        measure("anti_rise_spread", "rise spread", "%", 10.0, spread),
        kickback(Curve::PedalKickback, "kickback"),
        kickback(Curve::PedalKickbackBraked, "braked"),
    ]
}

fn geometry(cogs: &Cassette) -> Vec<Measure> {
    let cog = cogs.smallest;
    let (from, to) = WHOLE;
    let growth = Form::Gain {
        curve: Curve::RearCentre,
        cog,
        from,
        to,
    };
    let at_top = |curve: Curve, heading: &str, noticeable| {
        let name = format!("{}_top", curve.name());
        measure(
            name,
            heading,
            curve.unit(),
            noticeable,
            at(curve, cog, Place::Top),
        )
    };
    vec![
        measure("rear_centre_growth", "rear growth", "mm", 5.0, growth),
        at_top(Curve::RearCentre, "rear centre", 5.0),
        at_top(Curve::BbHeight, "BB height", 5.0),
        at_top(Curve::HeadAngle, "head angle", 0.5),
    ]
}

/// Farther than this from each other over the whole travel, parts that no limit is about are
/// not reported, mm.
const NEAR: f64 = 20.0;

/// Nor more than so many pairs of them.
const MOST_PAIRS: usize = 8;

/// The clearances to report: those that `limits` are about, or where none is about parts those
/// of the parts of `layout` that come near each other.
#[must_use]
pub fn clearances(layout: &Layout, suspension: &Suspension, limits: &[Limit]) -> Vec<Measure> {
    let limited = limited(limits);
    if limited.is_empty() {
        neighbouring(layout, suspension)
    } else {
        limited
    }
}

/// The smallest clearance over the travel, or over its own range, of each limit on parts.
fn limited(limits: &[Limit]) -> Vec<Measure> {
    let mut list: Vec<Measure> = Vec::new();
    for limit in limits {
        let LimitQuantity::Clearance(clearance) = &limit.quantity else {
            continue;
        };
        let measure = clearance_measure(clearance, limit.over.unwrap_or(WHOLE), list.len());
        if !list.iter().any(|known| known.form == measure.form) {
            list.push(measure);
        }
    }
    list
}

/// The smallest clearance over the travel of pairs of parts that come near each other, the
/// nearest first: what there is to report where no limit says which clearances matter.
fn neighbouring(layout: &Layout, suspension: &Suspension) -> Vec<Measure> {
    let pairs = neighbours(layout);
    let room = Room::new(suspension.plan(), suspension.bicycle(), &pairs);
    let sweep = Sweep::new(suspension, &room);
    let all = pairs.into_iter().enumerate();
    let mut near: Vec<(f64, Arc<Clearance>)> = all
        .map(|(gap, pair)| (sweep.smallest(gap, 0.0, 1.0).value, Arc::new(pair)))
        .filter(|(value, _)| *value < NEAR)
        .collect();
    near.sort_by(|one, other| one.0.total_cmp(&other.0));
    near.truncate(MOST_PAIRS);
    let measures = near.iter().enumerate();
    measures
        .map(|(number, (_, pair))| clearance_measure(pair, WHOLE, number))
        .collect()
}

fn clearance_measure(clearance: &Arc<Clearance>, range: (Place, Place), number: usize) -> Measure {
    let mut name = clearance.words();
    if range != WHOLE {
        let [from, to] = [range.0, range.1].map(|place| match place {
            Place::Top => "top".to_owned(),
            Place::Sag => "sag".to_owned(),
            Place::End => "end".to_owned(),
            Place::Fraction(fraction) => format!("{fraction}"),
        });
        name = format!("{name} {from} to {to}");
    }
    let form = Form::Clearance {
        clearance: Arc::clone(clearance),
        range,
    };
    measure(name, format!("C{}", number + 1), "mm", 5.0, form)
}

/// Cogs by size.
struct Cassette {
    smallest: Cog,
    middle: Cog,
    largest: Cog,
    all: Vec<Cog>,
}

impl Cassette {
    fn of(bicycle: &Bicycle) -> Self {
        let all = bicycle.cogs().to_vec();
        let mut sorted = all.clone();
        sorted.sort_by_key(|cog| cog.teeth);
        // A held layout has a cog or more.
        Self {
            smallest: sorted[0],
            middle: sorted[sorted.len() / 2],
            largest: sorted[sorted.len() - 1],
            all,
        }
    }
}

/// A number that a target looks at, and what is wanted of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Aim {
    /// Number of the objective set, from 0.
    pub objective: usize,
    /// Number of the target in its set, from 0.
    pub index: usize,
    /// The number.
    pub form: Form,
    /// Middle of the band.
    pub middle: f64,
    /// Half the width of the band.
    pub half: f64,
}

impl Aim {
    /// The residual of a value: wanted in [-1, 1].
    #[must_use]
    pub fn residual(&self, value: f64) -> f64 {
        if matches!(self.form, Form::Reversal { .. }) {
            return if value > crate::design::ROUNDING {
                1.0 + value
            } else {
                0.0
            };
        }
        (value - self.middle) / self.half
    }
}

/// The numbers that decide `target`, number `index` of set number `objective`.
#[must_use]
pub fn aims(bicycle: &Bicycle, target: &Target, objective: usize, index: usize) -> Vec<Aim> {
    let (middle, half) = match target.want {
        Want::Value { value, within } => (value, within),
        Want::Between { low, high } => (0.5 * (low + high), 0.5 * (high - low)),
        Want::StraightWithin(allowance) | Want::SpreadWithin(allowance) => (0.0, allowance),
        Want::Monotone(_) => (0.0, 1.0),
    };
    let forms = forms(bicycle, target);
    forms
        .into_iter()
        .map(|form| Aim {
            objective,
            index,
            form,
            middle,
            half,
        })
        .collect()
}

fn forms(bicycle: &Bicycle, target: &Target) -> Vec<Form> {
    let cogs = named_cogs(target.quantity.cogs(), bicycle);
    let each = |form: &dyn Fn(Cog) -> Form| cogs.iter().map(|&cog| form(cog)).collect();
    match (&target.quantity, &target.want) {
        (Quantity::Summary(summary), _) => vec![summary_form(bicycle, *summary)],
        (Quantity::At { curve, place, .. }, Want::SpreadWithin(_)) => {
            vec![Form::Spread {
                curve: *curve,
                cogs,
                range: (*place, *place),
            }]
        }
        (Quantity::At { curve, place, .. }, _) => each(&|cog| Form::At {
            curve: *curve,
            cog,
            place: *place,
        }),
        (
            Quantity::Over {
                curve, from, to, ..
            },
            want,
        ) => {
            let (curve, range) = (*curve, (*from, *to));
            match want {
                Want::SpreadWithin(_) => vec![Form::Spread { curve, cogs, range }],
                Want::StraightWithin(_) => each(&|cog| Form::Deviation { curve, cog, range }),
                Want::Monotone(direction) => each(&|cog| Form::Reversal {
                    curve,
                    cog,
                    range,
                    direction: *direction,
                }),
                Want::Value { .. } | Want::Between { .. } => cogs
                    .iter()
                    .flat_map(|&cog| {
                        [false, true].map(|greatest| Form::Extreme {
                            curve,
                            cog,
                            range,
                            greatest,
                        })
                    })
                    .collect(),
            }
        }
    }
}

/// The form of a number about the whole travel.
fn summary_form(bicycle: &Bicycle, summary: Summary) -> Form {
    let cog = bicycle.cogs()[0];
    let range = (Place::Top, Place::End);
    let extreme = |curve, greatest| Form::Extreme {
        curve,
        cog,
        range,
        greatest,
    };
    let (rate, rise) = (Curve::LeverageRate, Curve::AntiRise);
    let (from, to) = range;
    match summary {
        Summary::Progression => Form::Fall {
            curve: rate,
            cog,
            from,
            to,
        },
        Summary::ProgressionFromSag => Form::Fall {
            curve: rate,
            cog,
            from: Place::Sag,
            to,
        },
        Summary::LeverageMean => Form::MeanLeverage,
        Summary::LeverageMin => extreme(rate, false),
        Summary::LeverageMax => extreme(rate, true),
        Summary::LeverageMinAt => Form::ExtremeAt {
            curve: rate,
            cog,
            greatest: false,
        },
        Summary::LeverageMaxAt => Form::ExtremeAt {
            curve: rate,
            cog,
            greatest: true,
        },
        Summary::StraightnessMax => Form::Deviation {
            curve: rate,
            cog,
            range,
        },
        Summary::StraightnessRms => Form::DeviationRms { curve: rate, cog },
        Summary::AntiSquatSpreadAtSag => Form::Spread {
            curve: Curve::AntiSquat,
            cogs: bicycle.cogs().to_vec(),
            range: (Place::Sag, Place::Sag),
        },
        Summary::AntiRiseMin => extreme(rise, false),
        Summary::AntiRiseMax => extreme(rise, true),
        Summary::AxleXRearmost => extreme(Curve::AxleX, false),
        Summary::RearCentreGrowth => Form::Gain {
            curve: Curve::RearCentre,
            cog,
            from,
            to,
        },
        Summary::AxleXGrowth => Form::Gain {
            curve: Curve::AxleX,
            cog,
            from,
            to,
        },
        Summary::SagOfTravel => Form::Share {
            curve: Curve::Travel,
            cog,
            place: Place::Sag,
        },
        Summary::SagOfStroke => Form::Share {
            curve: Curve::Stroke,
            cog,
            place: Place::Sag,
        },
    }
}
