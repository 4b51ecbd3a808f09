//! Names and units as a person reads them.

use super::table::fixed;
use crate::input::{Curve, ForkCompression, Layout, Place, Summary, Wrap};

/// A curve's name in plain words.
pub(super) const fn curve(curve: Curve) -> &'static str {
    match curve {
        Curve::Travel => "Travel",
        Curve::Stroke => "Shock stroke",
        Curve::LeverageRate => "Leverage rate",
        Curve::AxleX => "Axle x",
        Curve::AxleY => "Axle y",
        Curve::RearCentre => "Rear centre",
        Curve::RearCentreGrowth => "Rear centre growth",
        Curve::AntiSquat => "Anti-squat",
        Curve::AntiRise => "Anti-rise",
        Curve::ChainGrowth => "Chain growth",
        Curve::PedalKickback => "Pedal kickback",
        Curve::PedalKickbackBraked => "Braked kickback",
        Curve::HeadAngle => "Head angle",
        Curve::HeadAngleChange => "Head angle change",
        Curve::BbHeight => "BB height",
        Curve::Wheelbase => "Wheelbase",
        Curve::ForkCompression => "Fork compression",
    }
}

/// The name in plain words of a number about the whole travel.
pub(super) const fn summary(summary: Summary) -> &'static str {
    match summary {
        Summary::Progression => "Progression, top to end",
        Summary::ProgressionFromSag => "Progression, sag to end",
        Summary::LeverageMean => "Mean leverage rate",
        Summary::LeverageMin => "Least leverage rate",
        Summary::LeverageMax => "Greatest leverage rate",
        Summary::LeverageMinAt | Summary::LeverageMaxAt => "  at a travel of",
        Summary::StraightnessMax => "Rate off straight, most",
        Summary::StraightnessRms => "Rate off straight, rms",
        Summary::AntiSquatSpreadAtSag => "Anti-squat spread at sag",
        Summary::AntiRiseMin => "Least anti-rise",
        Summary::AntiRiseMax => "Greatest anti-rise",
        Summary::AxleXRearmost => "Axle x, rearmost",
        Summary::RearCentreGrowth => "Rear centre, top to end",
        Summary::AxleXGrowth => "Axle x, top to end",
        Summary::SagOfTravel => "Sag, share of travel",
        Summary::SagOfStroke => "Sag, share of stroke",
    }
}

/// How many decimals of a unit mean something in a workshop.
pub(super) fn decimals(unit: &str) -> usize {
    match unit {
        "mm/mm" => 3,
        "deg" => 2,
        _ => 1,
    }
}

/// The unit, as it follows a name.
pub(super) fn unit(unit: &str) -> String {
    match unit {
        // A ratio of equal units needs none.
        "mm/mm" => String::new(),
        unit => format!(", {unit}"),
    }
}

/// A place along the travel.
pub(super) fn place(place: Place) -> String {
    match place {
        Place::Top => "top".into(),
        Place::Sag => "sag".into(),
        Place::End => "end".into(),
        Place::Fraction(fraction) => {
            let percent = fixed(fraction * 100.0, 1);
            format!("{} %", percent.strip_suffix(".0").unwrap_or(&percent))
        }
    }
}

/// How the fork moves, which anti-squat and anti-rise depend on.
pub(super) fn fork(layout: &Layout) -> String {
    match layout.bicycle.fork_compression {
        ForkCompression::Proportional => "fork moving in proportion to the rear".into(),
        ForkCompression::Fixed(compression) => format!("fork held at {compression} mm"),
    }
}

/// Chainring, and idler where there is one.
pub(super) fn chain(layout: &Layout) -> String {
    let bicycle = &layout.bicycle;
    let ring = bicycle.chainring_teeth;
    let Some(idler) = bicycle.idler else {
        return format!("chainring {ring}");
    };
    let side = match idler.wrap {
        Wrap::Over => "over",
        Wrap::Under => "under",
    };
    format!("chainring {ring}, chain {side} an idler of {}", idler.teeth)
}

/// The shock's length and stroke.
pub(super) fn shock(layout: &Layout) -> String {
    let mechanism = &layout.mechanism;
    let length = fixed(mechanism.eye_to_eye(), 1);
    format!("{length} x {}", mechanism.shock.stroke)
}
