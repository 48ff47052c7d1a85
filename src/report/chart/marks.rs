//! What a figure is made of: shapes, colours, bars, lines, words.
//!
//! Colours: Okabe M, Ito K (2008), "Color Universal Design: how to make figures and presentations
//! that are friendly to colorblind people" (values from memory). Never the only carrier of meaning:
//! every group has its own row and label, and a shape of its own.

/// A series' colour for the storage control and everything kept: the palette's black.
pub const KEPT: &str = "#000000";

/// Colours for exposed groups, in the plan's order; the palette's yellow is left out, it is too faint
/// for points on white.
const EXPOSED: [&str; 6] = [
    "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9",
];

/// The shape of a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// A disc.
    Disc,
    /// A square.
    Square,
    /// A diamond.
    Diamond,
    /// A triangle standing on its base.
    Up,
    /// A triangle standing on its tip.
    Down,
    /// A cross, for invalid tests.
    Cross,
    /// An open arrow to the right: at least this.
    AtLeast,
    /// A ring around another mark: flagged by the plan's rule.
    Ring,
    /// An open disc, for pieces without a value.
    Open,
}

const SHAPES: [Shape; 5] = [
    Shape::Disc,
    Shape::Square,
    Shape::Diamond,
    Shape::Up,
    Shape::Down,
];

/// Colour and shape of a group.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    /// Number of the series: 0 for kept pieces, from 1 for exposed ones. Style sheets know it.
    pub number: usize,
    /// Colour, as a presentation attribute.
    pub colour: &'static str,
    /// Shape.
    pub shape: Shape,
}

impl Style {
    /// The same colour with another shape.
    #[must_use]
    pub fn shaped(self, shape: Shape) -> Self {
        Self { shape, ..self }
    }
}

/// The style of the storage control.
pub const STORAGE: Style = Style {
    number: 0,
    colour: KEPT,
    shape: Shape::Disc,
};

/// The style of the baseline set and of a late reference.
pub const START: Style = Style {
    number: 0,
    colour: KEPT,
    shape: Shape::Square,
};

/// The style of the exposed condition at a place in the plan.
#[must_use]
pub fn exposed(place: usize) -> Style {
    let colour = EXPOSED.get(place % EXPOSED.len()).copied().unwrap_or(KEPT);
    let shape = SHAPES
        .get((place + 2) % SHAPES.len())
        .copied()
        .unwrap_or(Shape::Disc);
    Style {
        number: place % EXPOSED.len() + 1,
        colour,
        shape,
    }
}

/// A point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Place to the right.
    pub x: f64,
    /// Place downwards.
    pub y: f64,
}

/// A point that says what it stands for.
#[derive(Debug, Clone, PartialEq)]
pub struct Dot {
    /// Place to the right.
    pub x: f64,
    /// Place downwards.
    pub y: f64,
    /// The piece and its value, in words.
    pub name: String,
}

/// Points of one look.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    /// Number of the series.
    pub number: usize,
    /// Colour.
    pub colour: &'static str,
    /// Shape.
    pub shape: Shape,
    /// The points.
    pub points: Vec<Dot>,
}

/// A line through points.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// Number of the series.
    pub number: usize,
    /// Colour.
    pub colour: &'static str,
    /// The points, from the left.
    pub points: Vec<Point>,
    /// What it stands for; empty when words elsewhere say it.
    pub name: String,
    /// Thin, one of many.
    pub is_thin: bool,
}

/// An area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    /// Left.
    pub x: f64,
    /// Top.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

/// What a line is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineKind {
    /// An axis or a tick.
    Axis,
    /// Between two rows.
    Rule,
    /// No change: the mean of those compared with.
    NoChange,
    /// The mean of a group.
    Mean,
}

/// A straight line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// From, to the right.
    pub x1: f64,
    /// From, downwards.
    pub y1: f64,
    /// To, to the right.
    pub x2: f64,
    /// To, downwards.
    pub y2: f64,
    /// What for.
    pub kind: LineKind,
}

/// An interval with its estimate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// Left end.
    pub x1: f64,
    /// Right end.
    pub x2: f64,
    /// Estimate.
    pub at: f64,
    /// Downwards.
    pub y: f64,
    /// Number of the series.
    pub number: usize,
    /// Colour.
    pub colour: &'static str,
}

/// Where a word stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Begins there.
    Start,
    /// Is centred there.
    Middle,
    /// Ends there.
    End,
}

impl Anchor {
    /// Whether it is the one that SVG takes when nothing is said.
    #[must_use]
    pub fn is_start(self) -> bool {
        self == Self::Start
    }

    /// As SVG spells it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        }
    }
}

/// Words at a place.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// Place to the right.
    pub x: f64,
    /// Base line.
    pub y: f64,
    /// The words.
    pub text: String,
    /// Which end stands there.
    pub anchor: Anchor,
    /// Smaller and quieter.
    pub is_quiet: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbouring_conditions_differ_in_colour_and_in_shape() {
        for place in 0..40 {
            let (a, b) = (exposed(place), exposed(place + 1));
            assert!(a.colour != b.colour && a.shape != b.shape && a.number > 0);
        }
    }
}
