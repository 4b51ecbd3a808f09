//! Chainrings to try, by their teeth.

use crate::input::json::Node;
use crate::input::layout::{Layout, without_run};
use crate::input::reading::teeth;

/// Reads the chainrings to try; each has to leave a chain run on the layout, if that is known.
pub(super) fn read(node: Node, layout: Option<&Layout>) -> Option<Vec<u32>> {
    let Some(node) = node.given() else {
        return Some(Vec::new());
    };
    let what = "one chainring or more as a list of their teeth, such as [30, 32]";
    let items = node.list(what)?;
    if items.is_empty() {
        return node.fault(format!("{what}; without the key it is the layout's own"));
    }
    let mut rings = Vec::with_capacity(items.len());
    let mut complete = true;
    for item in items {
        let Some(ring) = teeth(&item, "teeth of a chainring") else {
            complete = false;
            continue;
        };
        let expected = if rings.contains(&ring) {
            Some("each chainring once".to_owned())
        } else {
            layout.and_then(|layout| without_run(layout, ring))
        };
        if let Some(expected) = expected {
            complete = false;
            item.fault::<()>(expected);
        }
        rings.push(ring);
    }
    complete.then_some(rings)
}
