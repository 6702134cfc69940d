//! Labels that stand beside each other and never on each other.
//!
//! A label has places where it may stand, the best first. It takes the first one that is inside the frame and free of
//! what stands there already; where it has the choice, off the curve too. Nothing here knows the fonts of the reader,
//! so letters count as wide ones.

use serde::Serialize;

use super::frame::{BOTTOM, LEFT, RIGHT, TOP};

/// Width of a letter in the plots' 13 px, taken wide; height above and below the line that letters stand on.
const LETTER: f64 = 7.8;
const ABOVE: f64 = 11.0;
const BELOW: f64 = 4.0;

/// A place where a label may stand.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    x: f64,
    y: f64,
    anchor: &'static str,
}

impl Place {
    /// The label begins here.
    pub(super) const fn start(x: f64, y: f64) -> Self {
        Self { x, y, anchor: "start" }
    }

    /// The label ends here.
    pub(super) const fn end(x: f64, y: f64) -> Self {
        Self { x, y, anchor: "end" }
    }
}

/// A label where it stands.
#[derive(Serialize)]
pub(super) struct Label {
    x: f64,
    y: f64,
    anchor: &'static str,
    text: String,
}

#[derive(Debug, Clone, Copy)]
struct Field {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

impl Field {
    fn of(place: Place, text: &str) -> Self {
        let width = text.chars().count() as f64 * LETTER;
        let left = if place.anchor == "end" { place.x - width } else { place.x };
        Self { left, right: left + width, top: place.y - ABOVE, bottom: place.y + BELOW }
    }

    fn shared(&self, other: &Self) -> f64 {
        let across = self.right.min(other.right) - self.left.max(other.left);
        let down = self.bottom.min(other.bottom) - self.top.max(other.top);
        across.max(0.0) * down.max(0.0)
    }

    /// What lies outside the frame.
    fn outside(&self) -> f64 {
        let frame = Self { left: LEFT, right: RIGHT, top: TOP, bottom: BOTTOM };
        (self.right - self.left) * (self.bottom - self.top) - self.shared(&frame)
    }
}

/// Labels and what they must keep off.
pub(super) struct Labels {
    taken: Vec<Field>,
    curve: Vec<Field>,
    labels: Vec<Label>,
}

impl Labels {
    /// No labels yet, a point that they keep off, and points of a curve that they had better not hide.
    pub(super) fn around(point: (f64, f64), radius: f64, curve: &[(f64, f64)]) -> Self {
        let round = |(x, y): (f64, f64), radius: f64| Field {
            left: x - radius,
            right: x + radius,
            top: y - radius,
            bottom: y + radius,
        };
        let curve = curve.iter().map(|point| round(*point, 1.0)).collect();
        Self { taken: vec![round(point, radius)], curve, labels: Vec::new() }
    }

    /// Puts a label into the first place that is free, or else where the least of it stands on others.
    pub(super) fn put(&mut self, text: String, places: Vec<Place>) {
        let trouble = |place: &Place| {
            let field = Field::of(*place, &text);
            let shared = |fields: &[Field]| fields.iter().map(|other| other.shared(&field)).sum::<f64>();
            // All of the curve counts less than the least bit of a label.
            1000.0 * (field.outside() + shared(&self.taken)) + shared(&self.curve)
        };
        // The first of equals is kept.
        let Some(place) = places.into_iter().min_by(|a, b| trouble(a).total_cmp(&trouble(b))) else { return };
        self.taken.push(Field::of(place, &text));
        self.labels.push(Label { x: place.x, y: place.y, anchor: place.anchor, text });
    }

    /// All labels.
    pub(super) fn put_down(self) -> Vec<Label> {
        self.labels
    }
}
