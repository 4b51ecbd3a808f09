//! An objective set from its tree.

use super::{Cogs, Direction, ObjectiveSet, Quantity, Target, Want};
use crate::input::fault::{nearest, quoted};
use crate::input::json::{Node, Object, SMALLEST};
use crate::input::quantity::{Curve, INSTANT_CENTRE, Summary};
use crate::input::reading::{distinct_teeth, place, range};

/// No quantity of a suspension is larger, whatever its unit.
const LARGEST: f64 = 1e6;
const WANTS: [&str; 5] = [
    "value",
    "between",
    "straight_within",
    "spread_within",
    "monotone",
];

pub(super) fn objective_set(root: &Node) -> Option<ObjectiveSet> {
    let what = "an objective set: an object with name and targets";
    let object = root.object(&["name", "targets"], what)?;
    let name = object.get("name").text("the objective set's name");
    let node = object.get("targets");
    let items = node.list("a list of targets")?;
    if items.is_empty() {
        return node.fault("one target or more");
    }
    // Every target is read before one that failed ends it, so that all faults are found.
    let targets: Vec<_> = items.iter().map(target).collect();
    Some(ObjectiveSet {
        name: name?.into(),
        targets: targets.into_iter().collect::<Option<_>>()?,
    })
}

fn target(node: &Node) -> Option<Target> {
    let known = &[
        "curve",
        "at",
        "over",
        "cogs",
        "value",
        "within",
        "between",
        "straight_within",
        "spread_within",
        "monotone",
        "weight",
    ];
    let object = node.object(
        known,
        "a target: an object with curve, place and what is wanted",
    )?;
    let quantity = quantity(&object);
    let want = want(&object);
    let weight = match object.get("weight").given() {
        None => Some(1.0),
        Some(node) => node.number("a weight above 0 and at most 1000000", |weight| {
            0.0 < weight && weight <= LARGEST
        }),
    };
    let (quantity, want) = (quantity?, want?);
    check_combination(&object, &quantity, want)?;
    Some(Target {
        quantity,
        want,
        weight: weight?,
    })
}

fn quantity(object: &Object) -> Option<Quantity> {
    let node = object.get("curve");
    let Some(name) = node.as_text() else {
        return node.fault("the name of a curve or of a summary quantity");
    };
    let places = object.given(&["at", "over"]);
    // The growth of the rear centre is both; a place tells which is meant.
    match (Curve::from_name(name), Summary::from_name(name)) {
        (Some(curve), None) => along(object, curve),
        (Some(curve), Some(_)) if !places.is_empty() => along(object, curve),
        (_, Some(summary)) => whole(object, summary, &places),
        (None, None) if name == INSTANT_CENTRE => {
            node.fault("a curve of numbers: an instant centre is a place, not a number")
        }
        (None, None) => {
            let curves = Curve::ALL.into_iter().map(Curve::name);
            let names = curves.chain(Summary::ALL.into_iter().map(Summary::name));
            let suggestion = nearest(name, names).map(quoted);
            node.fault_suggesting("the name of a curve or of a summary quantity", suggestion)
        }
    }
}

fn along(object: &Object, curve: Curve) -> Option<Quantity> {
    let cogs = cogs(&object.get("cogs"), curve);
    if object.exactly_one(&["at", "over"])? == "at" {
        let place = place(&object.get("at"));
        Some(Quantity::At {
            curve,
            place: place?,
            cogs: cogs?,
        })
    } else {
        let range = range(&object.get("over"));
        let (from, to) = range?;
        Some(Quantity::Over {
            curve,
            from,
            to,
            cogs: cogs?,
        })
    }
}

fn whole(object: &Object, summary: Summary, places: &[&str]) -> Option<Quantity> {
    for place in places {
        let name = summary.name();
        object
            .get(place)
            .fault::<()>(format!("no place: {name} is about the whole travel"));
    }
    let cogs = object.get("cogs").given();
    if let Some(cogs) = &cogs {
        cogs.fault::<()>(format!(
            "no cogs: {} does not depend on one cog",
            summary.name()
        ));
    }
    (places.is_empty() && cogs.is_none()).then_some(Quantity::Summary(summary))
}

fn cogs(node: &Node, curve: Curve) -> Option<Cogs> {
    let name = curve.name();
    let given = node.clone().given();
    match (given, curve.depends_on_cog()) {
        (None, false) => Some(Cogs::None),
        (Some(node), false) => node.fault(format!("no cogs: {name} does not depend on the cog")),
        (Some(node), true) if node.as_text() == Some("all") => Some(Cogs::All),
        (Some(node), true) if node.as_text().is_some() => {
            node.fault("\"all\" or a list of teeth of cogs")
        }
        (Some(node), true) => distinct_teeth(&node, "\"all\" or the teeth").map(Cogs::Teeth),
        (None, true) => node.fault(format!(
            "\"all\" or a list of teeth of cogs, because {name} depends on the cog"
        )),
    }
}

fn want(object: &Object) -> Option<Want> {
    let within = object.get("within").given();
    if let (Some(_), [] | ["between" | "straight_within" | "spread_within" | "monotone"]) =
        (&within, &object.given(&WANTS)[..])
    {
        return object
            .get("value")
            .fault("a value, because `within` stands beside it");
    }
    let key = object.exactly_one(&WANTS)?;
    let node = object.get(key);
    match key {
        "value" => {
            let value = number(&node);
            let within = allowance(&object.get("within"), "an allowance above 0 beside `value`");
            Some(Want::Value {
                value: value?,
                within: within?,
            })
        }
        "between" => {
            let (low, high) = node.bounds("the band", number)?;
            Some(Want::Between { low, high })
        }
        "straight_within" => allowance(&node, "an allowance above 0").map(Want::StraightWithin),
        "spread_within" => allowance(&node, "an allowance above 0").map(Want::SpreadWithin),
        _ => node
            .choice(&[
                ("rising", Direction::Rising),
                ("falling", Direction::Falling),
            ])
            .map(Want::Monotone),
    }
}

fn number(node: &Node) -> Option<f64> {
    node.number_within(-LARGEST, LARGEST, "a number in the curve's unit")
}

fn allowance(node: &Node, what: &str) -> Option<f64> {
    node.number_within(SMALLEST, LARGEST, what)
}

/// Whether there is enough of the quantity for what is wanted of it.
fn check_combination(object: &Object, quantity: &Quantity, want: Want) -> Option<()> {
    let over = matches!(quantity, Quantity::Over { .. });
    let several_cogs = match quantity.cogs() {
        Cogs::None => false,
        Cogs::All => true,
        Cogs::Teeth(cogs) => cogs.len() > 1,
    };
    let (key, expected) = match want {
        Want::StraightWithin(_) => ("straight_within", "a curve `over` a range of the travel"),
        Want::Monotone(_) => ("monotone", "a curve `over` a range of the travel"),
        Want::SpreadWithin(_) => (
            "spread_within",
            "several values: `over` a range or several cogs",
        ),
        Want::Value { .. } | Want::Between { .. } => return Some(()),
    };
    if over || (several_cogs && matches!(want, Want::SpreadWithin(_))) {
        return Some(());
    }
    let place = if matches!(quantity, Quantity::At { .. }) {
        "one place"
    } else {
        "one number"
    };
    object.get(key).sink.fault(
        object.get(key).path,
        format!("{} of {} at {place}", quoted(key), quantity.name()),
        expected,
    );
    None
}
