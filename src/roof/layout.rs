//! Roof planes, what stands on them, and the vent runs laid on them.
//!
//! Lengths are in inches. `along` runs along the eave from the plane's left end
//! as seen by somebody who stands on the ground and faces the plane; `up` runs
//! up the slope, on the deck, from the deck edge at the eave.

use crate::measure::Ratio;

/// A point on a plane, in inches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Point {
    /// From the left end of the eave.
    pub along: Ratio,
    /// Up the slope from the deck edge.
    pub up: Ratio,
}

/// What a plane ends at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum EdgeKind {
    /// The low edge that drips.
    Eave,
    /// The sloping edge at a gable.
    Rake,
    /// Where two planes meet and shed away from each other.
    Hip,
    /// Where two planes meet and shed towards each other.
    Valley,
    /// The level edge on top.
    Ridge,
    /// A wall that the plane runs against.
    Wall,
}

impl EdgeKind {
    /// All kinds.
    pub const ALL: [Self; 6] =
        [Self::Eave, Self::Rake, Self::Hip, Self::Valley, Self::Ridge, Self::Wall];

    /// The word for it, as tables and sheets write it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Eave => "eave",
            Self::Rake => "rake",
            Self::Hip => "hip",
            Self::Valley => "valley",
            Self::Ridge => "ridge",
            Self::Wall => "wall",
        }
    }
}

/// One side of a plane's outline.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edge {
    /// Where it starts; the outline goes round with the plane on its left.
    pub from: Point,
    /// Where it ends.
    pub to: Point,
    /// What is there.
    pub kind: EdgeKind,
}

/// Something that stands on a plane: the rectangle it takes up, flashing and all.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Obstruction {
    /// Its row, counted from 1.
    pub number: u32,
    /// What it is: chimney, skylight, pipe, dormer, other.
    pub kind: String,
    /// Its left side, along the eave.
    pub left: Ratio,
    /// Its right side.
    pub right: Ratio,
    /// Its low side, up the slope.
    pub low: Ratio,
    /// Its high side.
    pub high: Ratio,
}

/// One roof plane.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plane {
    /// Its row, counted from 1.
    pub number: u32,
    /// Which way it faces, in words: `south`; empty where nobody said.
    pub faces: String,
    /// The attic space under it, counted from 1.
    pub space: u32,
    /// Whether a slot may be cut in it at all.
    pub usable: bool,
    /// Its outline.
    pub edges: Vec<Edge>,
    /// What stands on it.
    pub obstructions: Vec<Obstruction>,
    /// Rise over run.
    pub pitch: Ratio,
    /// How much of each shingle shows.
    pub exposure: Ratio,
    /// How far the shingles hang past the deck edge.
    pub past_edge: Ratio,
    /// The course the vent goes on, counted from the eave.
    pub course: u32,
    /// Its butt edge, up from the deck edge.
    pub course_butt: Ratio,
    /// A joint between two shingles of that course, from the plane's left edge
    /// at that height, where it was measured.
    pub joint_at: Option<Ratio>,
}

/// The product's figures. Heights are up from the butt edge of the course.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Vent {
    /// Length of one piece.
    pub piece_length: Ratio,
    /// The shortest piece that may be laid.
    pub shortest_piece: Ratio,
    /// Net free area, in square inches an inch of vent.
    pub free_area_per_length: Ratio,
    /// How far it stays back from a hip, valley, rake or wall, along the course.
    pub stay_back: Ratio,
    /// How far it stays back from a rake: no less, and so far that the slot opens
    /// inside the gable wall.
    pub rake_back: Ratio,
    /// How far it stays back from what stands on the plane, on every side.
    pub obstruction_stay_back: Ratio,
    /// By how much it covers the slot at each end.
    pub slot_inset: Ratio,
    /// Its low edge.
    pub vent_low: Ratio,
    /// Its high edge.
    pub vent_high: Ratio,
    /// The secondary nail line.
    pub nail_line: Ratio,
    /// The slot's low edge.
    pub slot_low: Ratio,
    /// The slot's high edge.
    pub slot_high: Ratio,
    /// Width of a shingle; none where it does not matter.
    pub shingle_width: Option<Ratio>,
    /// Rafters or trusses: from centre to centre.
    pub member_spacing: Ratio,
    /// Rafters or trusses: how thick one is.
    pub member_width: Ratio,
}

impl Vent {
    /// How far it stays back from such an edge, along the course.
    #[must_use]
    pub fn stays_back_from(&self, kind: EdgeKind) -> Ratio {
        if kind == EdgeKind::Rake { self.rake_back } else { self.stay_back }
    }
}

/// One vent run. Starts and ends are from the plane's left edge at the height of
/// the course's butt edge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// The plane's number.
    pub plane: u32,
    /// The course, counted from the eave.
    pub course: u32,
    /// The butt edge of that course, up from the deck edge.
    pub course_butt: Ratio,
    /// What the plane's left edge is at that height.
    pub left_kind: EdgeKind,
    /// Where the plane's left edge is at that height, from the eave's left end.
    pub left_at: Ratio,
    /// Where the vent starts.
    pub vent_start: Ratio,
    /// Where it ends.
    pub vent_end: Ratio,
    /// Where the slot starts.
    pub slot_start: Ratio,
    /// Where the slot ends.
    pub slot_end: Ratio,
    /// How many pieces, a cut one counted.
    pub pieces: u32,
    /// Length of the one piece that is cut, laid in the middle; none where all
    /// are whole.
    pub field_cut: Option<Ratio>,
    /// What vent and slot both let through, in square inches.
    pub free_area: Ratio,
}

/// A stretch of a course where no vent is laid, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// The plane's number.
    pub plane: u32,
    /// Start and end, from the plane's left edge at that height.
    pub from_to: (Ratio, Ratio),
    /// Why, in a sentence.
    pub why: String,
}

/// All runs of a job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Layout {
    /// The planes, in order.
    pub planes: Vec<Plane>,
    /// The product.
    pub vent: Vent,
    /// The runs, by plane and from left to right.
    pub runs: Vec<Run>,
    /// Where none could be laid.
    pub left_out: Vec<LeftOut>,
    /// What the crew has to know, in sentences.
    pub notes: Vec<String>,
}
