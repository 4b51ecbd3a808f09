//! Results for machines, every number in full: read back it is the same number.
//!
//! A number that is none (which no good layout has) is null.

use super::{Subject, Verdict, clearances};
use crate::curves::State;
use crate::design::{TargetResult, TargetValue};
use crate::input::{Curve, Place, Summary};
use serde_json::{Map, Value, json};

/// The text of a result, with a line break at its end.
#[must_use]
pub fn text(value: &Value) -> String {
    format!("{value:#}\n")
}

/// What `curves` prints: `samples` of them uniform in travel, top to end.
#[must_use]
pub fn curves(subject: &Subject, samples: u32, verdict: Option<&Verdict>) -> Value {
    let mut object = overview(subject);
    let samples: Vec<Value> = subject
        .samples(samples)
        .map(|state| sample(subject, &state))
        .collect();
    object.insert("samples".into(), samples.into());
    object.insert("summary".into(), summary(subject));
    if !subject.layout.parts.is_empty() {
        object.insert("clearances".into(), clearances::json(subject));
    }
    if let Some(verdict) = verdict {
        object.insert("targets".into(), targets(verdict));
    }
    object.into()
}

/// Name, size and the three named places.
pub(super) fn overview(subject: &Subject) -> Map<String, Value> {
    let named = [
        ("top", Place::Top),
        ("sag", Place::Sag),
        ("end", Place::End),
    ];
    let at: Map<String, Value> = named
        .into_iter()
        .map(|(name, place)| (name.into(), sample(subject, &subject.at(place))))
        .collect();
    let mut object = Map::new();
    let layout = subject.layout;
    object.insert("name".into(), layout.name.clone().into());
    object.insert(
        "total_travel".into(),
        subject.suspension.total_travel().into(),
    );
    object.insert("stroke".into(), layout.mechanism.shock.stroke.into());
    object.insert("eye_to_eye".into(), layout.mechanism.eye_to_eye().into());
    object.insert("at".into(), at.into());
    object
}

/// All curves in one state.
#[must_use]
pub fn sample(subject: &Subject, state: &State<f64>) -> Value {
    let mut object = Map::new();
    for curve in Curve::ALL {
        if curve == Curve::AntiSquat {
            let centre = state.instant_centre();
            let centre = centre.map_or(Value::Null, |centre| json!([centre.x, centre.y]));
            object.insert("instant_centre".into(), centre);
        }
        let values = subject.values(curve, state);
        let value = if curve.depends_on_cog() {
            let cogs = values.into_iter().filter_map(|(cog, value)| {
                let teeth = cog?.teeth;
                Some((teeth.to_string(), Value::from(value)))
            });
            cogs.collect::<Map<String, Value>>().into()
        } else {
            values
                .first()
                .map_or(Value::Null, |&(_, value)| value.into())
        };
        object.insert(curve.name().into(), value);
    }
    object.into()
}

/// Every number about the whole travel.
#[must_use]
pub fn summary(subject: &Subject) -> Value {
    let numbers = Summary::ALL.into_iter().map(|quantity| {
        let value = subject.suspension.summary(quantity);
        (quantity.name().to_owned(), Value::from(value))
    });
    numbers.collect::<Map<String, Value>>().into()
}

/// How a layout does on each target.
fn targets(verdict: &Verdict) -> Value {
    let named = verdict.targets.iter().map(|result| {
        let set = verdict.sets.get(result.objective);
        target(set.map_or("", |set| &set.name), result)
    });
    named.collect::<Vec<_>>().into()
}

/// How a layout does on one target of the objective set of that name.
#[must_use]
pub fn target(objective: &str, result: &TargetResult) -> Value {
    json!({
        "objective": objective,
        "index": result.index,
        "curve": result.curve,
        "met": result.met,
        "residual": result.residual,
        "values": result.values.iter().map(target_value).collect::<Vec<_>>(),
    })
}

fn target_value(value: &TargetValue) -> Value {
    json!({
        "place": value.place.map(place),
        "cog": value.cog,
        "value": value.value,
        "residual": value.residual,
    })
}

/// A place as it stands in a file.
#[must_use]
pub fn place(place: Place) -> Value {
    match place {
        Place::Top => "top".into(),
        Place::Sag => "sag".into(),
        Place::End => "end".into(),
        Place::Fraction(fraction) => fraction.into(),
    }
}
