//! stub, replaced by the input floor
use crate::number::Point;
use serde_json::Value;
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PointId(usize);
impl PointId {
    pub fn index(self) -> usize {
        self.0
    }
    pub fn new(i: usize) -> Self {
        Self(i)
    }
}
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BodyId(usize);
impl BodyId {
    pub fn index(self) -> usize {
        self.0
    }
    pub fn new(i: usize) -> Self {
        Self(i)
    }
}
#[derive(Clone, Debug)]
pub struct Layout {
    pub name: String,
    pub bicycle: Bicycle,
    pub mechanism: Mechanism,
}
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ForkCompression {
    Proportional,
    Fixed(f64),
}
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SagOf {
    Travel,
    Stroke,
}
#[derive(Clone, Copy, Debug)]
pub struct Sag {
    pub fraction: f64,
    pub of: SagOf,
}
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wrap {
    Over,
    Under,
}
#[derive(Clone, Copy, Debug)]
pub struct Idler {
    pub point: PointId,
    pub teeth: u32,
    pub wrap: Wrap,
}
#[derive(Clone, Debug)]
pub struct Bicycle {
    pub rear_axle: PointId,
    pub front_axle: Point<f64>,
    pub rear_wheel_radius: f64,
    pub front_wheel_radius: f64,
    pub head_angle: f64,
    pub fork_travel: f64,
    pub fork_compression: ForkCompression,
    pub centre_of_mass: Point<f64>,
    pub chainring_teeth: u32,
    pub cassette_teeth: Vec<u32>,
    pub sag: Sag,
    pub idler: Option<Idler>,
}
#[derive(Clone, Debug)]
pub struct NamedPoint {
    pub name: String,
    pub position: Point<f64>,
}
#[derive(Clone, Debug)]
pub struct Body {
    pub name: String,
    pub points: Vec<PointId>,
}
#[derive(Clone, Copy, Debug)]
pub struct Shock {
    pub ends: [PointId; 2],
    pub stroke: f64,
}
#[derive(Clone, Debug)]
pub struct Mechanism {
    pub points: Vec<NamedPoint>,
    pub bodies: Vec<Body>,
    pub frame: BodyId,
    pub shock: Shock,
    pub brake_body: BodyId,
    pub axle_body: BodyId,
}
impl Mechanism {
    pub fn eye_to_eye(&self) -> f64 {
        (self.points[self.shock.ends[0].index()].position
            - self.points[self.shock.ends[1].index()].position)
            .length()
    }
}
impl Layout {
    pub fn from_json(_file: &str, text: &str) -> Result<Self, super::Faults> {
        let v: Value = serde_json::from_str(text).unwrap();
        let m = &v["mechanism"];
        let b = &v["bicycle"];
        let f = |v: &Value| v.as_f64().unwrap();
        let pt = |v: &Value| Point::new(f(&v[0]), f(&v[1]));
        let points: Vec<NamedPoint> = m["points"]
            .as_object()
            .unwrap()
            .iter()
            .map(|(k, v)| NamedPoint {
                name: k.clone(),
                position: pt(v),
            })
            .collect();
        let pid = |n: &Value| {
            PointId(
                points
                    .iter()
                    .position(|p| p.name == n.as_str().unwrap())
                    .unwrap(),
            )
        };
        let bodies: Vec<Body> = m["bodies"]
            .as_object()
            .unwrap()
            .iter()
            .map(|(k, v)| Body {
                name: k.clone(),
                points: v.as_array().unwrap().iter().map(pid).collect(),
            })
            .collect();
        let bid = |n: &str| BodyId(bodies.iter().position(|p| p.name == n).unwrap());
        let rear_axle = pid(&b["rear_axle"]);
        let axle_body = m.get("axle_body").map_or_else(
            || {
                BodyId(
                    bodies
                        .iter()
                        .position(|p| p.points.contains(&rear_axle))
                        .unwrap(),
                )
            },
            |n| bid(n.as_str().unwrap()),
        );
        Ok(Layout {
            name: v["name"].as_str().unwrap().into(),
            bicycle: Bicycle {
                rear_axle,
                front_axle: pt(&b["front_axle"]),
                rear_wheel_radius: f(&b["rear_wheel_radius"]),
                front_wheel_radius: f(&b["front_wheel_radius"]),
                head_angle: f(&b["head_angle"]),
                fork_travel: f(&b["fork_travel"]),
                fork_compression: b["fork_compression"]
                    .as_f64()
                    .map_or(ForkCompression::Proportional, ForkCompression::Fixed),
                centre_of_mass: pt(&b["centre_of_mass"]),
                chainring_teeth: f(&b["chainring_teeth"]) as u32,
                cassette_teeth: b["cassette_teeth"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .map(|t| f(t) as u32)
                    .collect(),
                sag: Sag {
                    fraction: f(&b["sag"]["fraction"]),
                    of: if b["sag"]["of"] == "travel" {
                        SagOf::Travel
                    } else {
                        SagOf::Stroke
                    },
                },
                idler: b.get("idler").map(|i| Idler {
                    point: pid(&i["point"]),
                    teeth: f(&i["teeth"]) as u32,
                    wrap: if i["wrap"] == "over" {
                        Wrap::Over
                    } else {
                        Wrap::Under
                    },
                }),
            },
            mechanism: Mechanism {
                frame: bid("frame"),
                shock: Shock {
                    ends: [pid(&m["shock"]["ends"][0]), pid(&m["shock"]["ends"][1])],
                    stroke: f(&m["shock"]["stroke"]),
                },
                brake_body: bid(m["brake_body"].as_str().unwrap()),
                axle_body,
                points,
                bodies,
            },
        })
    }
}
