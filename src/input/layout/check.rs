//! What values of a layout must be to each other, as far as no motion is needed.
//!
//! Each check looks only at what could be read, so that one fault does not hide another.

use super::read::{BicycleDraft, MechanismDraft};
use super::{BodyId, ForkCompression, Layout, PointId, Wrap};
use crate::input::fault::{quoted, quoted_list};
use crate::input::json::{Sink, join, number_text};
use crate::number::Point;

/// Chain pitch, mm.
const PITCH: f64 = 12.7;

/// Reports every fault; returns the body whose instant centre is meant where that is clear.
pub(super) fn all(
    sink: &Sink,
    bicycle: &BicycleDraft,
    mechanism: &MechanismDraft,
) -> Option<BodyId> {
    unused_points(sink, mechanism);
    shock(sink, mechanism);
    brake_body(sink, mechanism);
    fork(sink, bicycle);
    wheels(sink, bicycle, mechanism);
    chain(sink, bicycle, mechanism);
    axle_body(sink, bicycle, mechanism)
}

fn unused_points(sink: &Sink, mechanism: &MechanismDraft) {
    if mechanism.bodies.is_none() || mechanism.some_body_incomplete {
        return;
    }
    for (index, (name, _)) in mechanism.points.iter().flatten().enumerate() {
        if mechanism.bodies_of(PointId(index)).is_empty() {
            let path = join("mechanism.points", name);
            sink.fault(path, "a point on no body", "every point on a body");
        }
    }
}

fn shock(sink: &Sink, mechanism: &MechanismDraft) {
    let Some(ends) = mechanism.ends else { return };
    let path = "mechanism.shock.ends";
    let [one, other] = ends.map(|end| mechanism.bodies_of(end));
    if ends[0] == ends[1] {
        sink.fault(
            path,
            "the same point twice",
            "two points of different bodies",
        );
        return;
    }
    let shared = one.into_iter().find(|body| other.contains(body));
    let shared = shared.and_then(|body| mechanism.bodies.as_ref()?.get(body.0));
    if let Some(body) = shared {
        let found = format!("two points of the body {}", quoted(&body.name));
        sink.fault(path, found, "two points of different bodies");
        return;
    }
    let [one, other] = ends.map(|end| mechanism.position(end));
    let (Some(one), Some(other), Some(stroke)) = (one, other, mechanism.stroke) else {
        return;
    };
    let eye_to_eye = (other - one).length();
    if stroke >= eye_to_eye {
        let expected =
            format!("a stroke shorter than the eye-to-eye length of {eye_to_eye:.3} mm as drawn");
        sink.fault("mechanism.shock.stroke", number_text(stroke), expected);
    }
}

fn brake_body(sink: &Sink, mechanism: &MechanismDraft) {
    if mechanism.brake_body.is_some() && mechanism.brake_body == mechanism.frame() {
        sink.fault(
            "mechanism.brake_body",
            quoted("frame"),
            "a body that moves with the wheel",
        );
    }
}

fn axle_body(sink: &Sink, bicycle: &BicycleDraft, mechanism: &MechanismDraft) -> Option<BodyId> {
    let axle = bicycle.rear_axle?;
    let carriers = mechanism.bodies_of(axle);
    if mechanism
        .frame()
        .is_some_and(|frame| carriers.contains(&frame))
    {
        let name = mechanism
            .points
            .as_ref()
            .and_then(|points| points.get(axle.0));
        let found = format!(
            "{}, a point of the frame",
            quoted(name.map_or("", |(name, _)| name))
        );
        sink.fault(
            "bicycle.rear_axle",
            found,
            "a point that stands on moving bodies only",
        );
        return None;
    }
    let bodies = mechanism.bodies.as_ref()?;
    let names = || quoted_list(carriers.iter().map(|body| &*bodies[body.0].name));
    match (mechanism.axle_body, &carriers[..]) {
        (Some(body), _) if carriers.contains(&body) => Some(body),
        (Some(body), [_, ..]) => {
            let found = format!(
                "{}, which does not carry the axle",
                quoted(&bodies[body.0].name)
            );
            sink.fault("mechanism.axle_body", found, format!("one of {}", names()));
            None
        }
        (None, &[body]) => Some(body),
        (None, [_, ..]) => {
            let found = format!("nothing, and the axle on {}", names());
            sink.fault(
                "mechanism.axle_body",
                found,
                "the one whose instant centre is meant",
            );
            None
        }
        // An axle on no body is already reported as a point on no body, unless a body is at fault.
        (_, []) => None,
    }
}

fn fork(sink: &Sink, bicycle: &BicycleDraft) {
    let (Some(ForkCompression::Fixed(compression)), Some(travel)) =
        (bicycle.fork_compression, bicycle.fork_travel)
    else {
        return;
    };
    if compression > travel {
        let expected = format!("at most the fork travel of {} mm", number_text(travel));
        sink.fault(
            "bicycle.fork_compression",
            number_text(compression),
            expected,
        );
    }
}

fn wheels(sink: &Sink, bicycle: &BicycleDraft, mechanism: &MechanismDraft) {
    let rear = bicycle.rear_axle.and_then(|axle| mechanism.position(axle));
    let (Some(rear), Some(front)) = (rear, bicycle.front_axle) else {
        return;
    };
    if front.x <= rear.x {
        let found = format!("an axle at x = {}", number_text(front.x));
        let expected = format!(
            "one in front of the rear axle at x = {}",
            number_text(rear.x)
        );
        sink.fault("bicycle.front_axle", found, expected);
        return;
    }
    let (Some(rear_radius), Some(front_radius)) =
        (bicycle.rear_wheel_radius, bicycle.front_wheel_radius)
    else {
        return;
    };
    // The lower tangent has the unit normal `n` with (front - rear).n = front radius - rear radius.
    let axles = front - rear;
    let distance = axles.length();
    let along = (front_radius - rear_radius) / distance;
    if along.abs() >= 1.0 {
        let found = format!("axles {distance:.3} mm apart");
        sink.fault(
            "bicycle.front_axle",
            found,
            "wheels with a common ground line",
        );
        return;
    }
    let forward = axles * (1.0 / distance);
    let normal = forward * along + forward.turned_left() * (1.0 - along * along).sqrt();
    let Some(mass) = bicycle.centre_of_mass else {
        return;
    };
    let height = (mass - rear).dot(normal) + rear_radius;
    if height <= 0.0 {
        let found = format!("a point {:.3} mm under the ground line", -height);
        sink.fault("bicycle.centre_of_mass", found, "one above it");
    }
}

/// Pitch radius of a sprocket, mm.
fn pitch_radius(teeth: u32) -> f64 {
    PITCH / (2.0 * libm::sin(std::f64::consts::PI / f64::from(teeth)))
}

/// The tight run is the tangent of two pitch circles, which one inside the other have not.
fn chain(sink: &Sink, bicycle: &BicycleDraft, mechanism: &MechanismDraft) {
    let axle = bicycle.rear_axle.and_then(|axle| mechanism.position(axle));
    let Some(ring) = bicycle.chainring_teeth.filter(|_| !bicycle.idler_at_fault) else {
        return;
    };
    let (ring, bottom_bracket) = (pitch_radius(ring), Point::new(0.0, 0.0));
    let cogs = bicycle.cassette_teeth.iter().flatten();
    let (next, path, what, place) = if let Some(idler) = bicycle.idler {
        let Some(place) = mechanism.position(idler.point) else {
            return;
        };
        let radius = match idler.wrap {
            Wrap::Over => pitch_radius(idler.teeth),
            Wrap::Under => -pitch_radius(idler.teeth),
        };
        let (apart, needed) = ((bottom_bracket - place).length(), (radius - ring).abs());
        if apart <= needed {
            let found = format!("an idler {apart:.3} mm from the chainring's centre");
            let expected = format!("a chain run: a distance above {needed:.3} mm");
            sink.fault("bicycle.idler", found, expected);
        }
        (radius, "bicycle.idler", "idler", place)
    } else {
        (ring, "bicycle.chainring_teeth", "chainring", bottom_bracket)
    };
    let Some(axle) = axle else { return };
    let gap = |teeth: u32| (pitch_radius(teeth) - next).abs();
    let apart = (place - axle).length();
    let worst = cogs
        .copied()
        .max_by(|&one, &other| gap(one).total_cmp(&gap(other)));
    if let Some(cog) = worst.filter(|&cog| apart <= gap(cog)) {
        let found = format!("a {what} whose centre is {apart:.3} mm from the rear axle");
        let needed = gap(cog);
        let expected = format!("a chain run to the cog of {cog}: a distance above {needed:.3} mm");
        sink.fault(path, found, expected);
    }
}

/// Where `layout` would have no chain run with a chainring of `ring` teeth: what is expected of it.
pub(in crate::input) fn without_run(layout: &Layout, ring: u32) -> Option<String> {
    let (bicycle, bottom_bracket) = (&layout.bicycle, Point::new(0.0, 0.0));
    let radius = pitch_radius(ring);
    let (what, place, farthest) = if let Some(idler) = bicycle.idler {
        let signed = match idler.wrap {
            Wrap::Over => pitch_radius(idler.teeth),
            Wrap::Under => -pitch_radius(idler.teeth),
        };
        ("idler", idler.point, (signed - radius).abs())
    } else {
        let gaps = bicycle.cassette_teeth.iter();
        let gaps = gaps.map(|&teeth| (pitch_radius(teeth) - radius).abs());
        ("cassette", bicycle.rear_axle, gaps.fold(0.0, f64::max))
    };
    let apart = (bottom_bracket - layout.mechanism.position(place)).length();
    (apart <= farthest).then(|| {
        format!(
            "a chainring with a chain run to the {what}: that is {apart:.3} mm away, above \
             {farthest:.3} mm are needed"
        )
    })
}
