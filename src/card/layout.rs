//! What is printed where on the reference card, in millimetres.
//!
//! Origin at the top left of the trimmed card, x to the right, y down. Whatever is not named here
//! is bare paper, and bare paper is the white reference. Two layouts exist, told apart by their
//! tags' ids; everything that looks at a card works on a [`Layout`] and so on both.

/// A point on the card, millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointMm {
    /// To the right of the card's left edge.
    pub x: f64,
    /// Below the card's top edge.
    pub y: f64,
}

/// An upright rectangle on the card, millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RectMm {
    /// Left edge.
    pub x0: f64,
    /// Top edge.
    pub y0: f64,
    /// Right edge.
    pub x1: f64,
    /// Bottom edge.
    pub y1: f64,
}

impl RectMm {
    /// The rectangle between two edges each way.
    pub const fn new(x0: f64, y0: f64, x1: f64, y1: f64) -> Self {
        Self { x0, y0, x1, y1 }
    }

    /// The rectangle of a size whose top left corner is at (`x0`, `y0`).
    pub const fn at(x0: f64, y0: f64, width: f64, height: f64) -> Self {
        Self::new(x0, y0, x0 + width, y0 + height)
    }

    /// The square of a side about a centre.
    pub const fn square_about(centre: PointMm, side: f64) -> Self {
        Self::at(centre.x - side / 2.0, centre.y - side / 2.0, side, side)
    }

    /// Extent along x.
    pub const fn width(&self) -> f64 {
        self.x1 - self.x0
    }

    /// Extent along y.
    pub const fn height(&self) -> f64 {
        self.y1 - self.y0
    }

    /// Middle.
    pub const fn centre(&self) -> PointMm {
        PointMm { x: (self.x0 + self.x1) / 2.0, y: (self.y0 + self.y1) / 2.0 }
    }

    /// Corners clockwise as seen, from the top left.
    pub const fn corners(&self) -> [PointMm; 4] {
        [
            PointMm { x: self.x0, y: self.y0 },
            PointMm { x: self.x1, y: self.y0 },
            PointMm { x: self.x1, y: self.y1 },
            PointMm { x: self.x0, y: self.y1 },
        ]
    }

    /// Every side moved outwards by `margin` (inwards if negative).
    pub const fn grown(&self, margin: f64) -> Self {
        Self::new(self.x0 - margin, self.y0 - margin, self.x1 + margin, self.y1 + margin)
    }

    /// The part of it that lies in another.
    pub const fn cut_to(&self, other: &Self) -> Self {
        Self::new(self.x0.max(other.x0), self.y0.max(other.y0), self.x1.min(other.x1), self.y1.min(other.y1))
    }

    /// Whether the point lies in it or on its edge.
    pub const fn contains(&self, point: PointMm) -> bool {
        point.x >= self.x0 && point.x <= self.x1 && point.y >= self.y0 && point.y <= self.y1
    }

    /// Whether the two share any area.
    pub const fn overlaps(&self, other: &Self) -> bool {
        self.x0 < other.x1 && other.x0 < self.x1 && self.y0 < other.y1 && other.y0 < self.y1
    }
}

/// Side of a tag's black square, mm.
pub const TAG_SIZE_MM: f64 = 16.0;
/// Modules along a side of that square: 6 of data and a black border.
pub const TAG_MODULES: usize = 8;
/// Side of one module, mm.
pub const TAG_MODULE_MM: f64 = TAG_SIZE_MM / TAG_MODULES as f64;
/// Bare paper that surrounds a tag on every side, at least, mm.
pub const TAG_QUIET_MM: f64 = 2.0;
/// Width of a patch, mm.
pub const PATCH_WIDTH_MM: f64 = 11.0;
/// Height of a patch, mm.
pub const PATCH_HEIGHT_MM: f64 = 12.0;
/// From the top of one patch to the top of the next below it, mm.
pub const PATCH_PITCH_MM: f64 = 14.4;
/// Patches in a column.
pub const PATCH_ROWS: usize = 6;
/// Thickness of the grey outline that lies just inside a bare-paper patch, mm.
pub const PAPER_OUTLINE_MM: f64 = 0.3;
/// Thickness of the grey outline that lies just outside a window, mm.
pub const WINDOW_OUTLINE_MM: f64 = 0.4;
/// Grey of the outlines, 8-bit sRGB: visible, yet far from black on any paper.
pub const OUTLINE_GREY: [u8; 3] = [128, 128, 128];
/// Length of the scale bar, mm.
pub const SCALE_BAR_MM: f64 = 40.0;
/// Thickness of the scale bar, mm.
pub const SCALE_BAR_THICKNESS_MM: f64 = 0.5;
/// Side of the white slip round a slip's tag, mm.
pub const SLIP_SIZE_MM: f64 = 20.0;
/// Ids of the family that tag slips may carry; those below are kept for cards.
pub const SLIP_IDS: std::ops::RangeInclusive<u16> = 100..=586;

/// One corner tag.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tag {
    /// Id in the 36h11 family.
    pub id: u16,
    /// Left edge of the black square, mm.
    pub x0: f64,
    /// Top edge of the black square, mm.
    pub y0: f64,
}

impl Tag {
    /// The black square.
    pub const fn rect(&self) -> RectMm {
        RectMm::at(self.x0, self.y0, TAG_SIZE_MM, TAG_SIZE_MM)
    }
}

/// What a patch is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PatchKind {
    /// Unprinted, with an outline.
    Paper,
    /// Grey; tells the tone curve.
    Neutral,
    /// Coloured; tells the colour fit.
    Colour,
}

/// One patch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patch {
    /// Column from the left, from 0.
    pub column: usize,
    /// Row from the top, from 0.
    pub row: usize,
    /// Its area, mm.
    pub rect: RectMm,
    /// What is sent to the printer, 8-bit sRGB; what the printer lays down differs by many units.
    pub nominal_srgb: [u8; 3],
    /// What it is for.
    pub kind: PatchKind,
}

/// Nominal value of bare paper: nothing is printed.
const PAPER: [u8; 3] = [255, 255, 255];

const fn kind_of([r, g, b]: [u8; 3]) -> PatchKind {
    match (r, g, b) {
        (255, 255, 255) => PatchKind::Paper,
        _ if r == g && g == b => PatchKind::Neutral,
        _ => PatchKind::Colour,
    }
}

/// One column of patches: its left edge and its colours from the top.
struct Column {
    x0: f64,
    colours: [[u8; 3]; PATCH_ROWS],
}

const fn patches<const N: usize>(columns: &[Column], top: f64) -> [Patch; N] {
    assert!(N == columns.len() * PATCH_ROWS, "patches come in full columns");
    let filler = RectMm::new(0.0, 0.0, 0.0, 0.0);
    let mut all = [Patch { column: 0, row: 0, rect: filler, nominal_srgb: PAPER, kind: PatchKind::Paper }; N];
    let mut i = 0;
    while i < N {
        let (column, row) = (i / PATCH_ROWS, i % PATCH_ROWS);
        let nominal_srgb = columns[column].colours[row];
        let y0 = top + PATCH_PITCH_MM * row as f64;
        let rect = RectMm::at(columns[column].x0, y0, PATCH_WIDTH_MM, PATCH_HEIGHT_MM);
        all[i] = Patch { column, row, rect, nominal_srgb, kind: kind_of(nominal_srgb) };
        i += 1;
    }
    all
}

/// A card's layout.
#[derive(Debug, PartialEq)]
pub struct Layout {
    /// Number of the layout.
    pub version: u8,
    /// Width of the trimmed card, mm.
    pub width_mm: f64,
    /// Height of the trimmed card, mm.
    pub height_mm: f64,
    /// Corner tags: top left, top right, bottom right, bottom left.
    pub tags: [Tag; 4],
    /// Colour, grey and bare-paper patches, column by column from the left.
    pub patches: &'static [Patch],
    /// Bare paper before which the samples stand or lie, from the left.
    pub windows: &'static [RectMm],
    /// A bar by which a ruler shows whether the print came out at full size.
    pub scale_bar: RectMm,
    /// Centres of the places that may hold a tag slip (left: tank, right: kit); nothing that
    /// measures paper white may rely on their being empty.
    pub slip_places: &'static [PointMm],
    /// Where a window's label may be printed, from the left.
    pub label_places: &'static [RectMm],
}

impl Layout {
    /// The whole trimmed card.
    pub const fn outline(&self) -> RectMm {
        RectMm::new(0.0, 0.0, self.width_mm, self.height_mm)
    }

    /// The tag with this id, if it is one of the four.
    pub fn tag(&self, id: u16) -> Option<&Tag> {
        self.tags.iter().find(|tag| tag.id == id)
    }

    /// Patches of one kind.
    pub fn patches_of(&self, kind: PatchKind) -> impl Iterator<Item = &'static Patch> {
        self.patches.iter().filter(move |patch| patch.kind == kind)
    }

    /// The white slips that may lie on the card, mm.
    pub fn slips(&self) -> impl Iterator<Item = RectMm> {
        self.slip_places.iter().map(|&centre| RectMm::square_about(centre, SLIP_SIZE_MM))
    }

    /// All that is printed on the card or may be laid on it, but for the windows' thin outlines:
    /// tags, patches (with the bare-paper ones), scale bar, labels, slips.
    pub fn occupied(&self) -> impl Iterator<Item = RectMm> {
        let tags = self.tags.iter().map(Tag::rect);
        let patches = self.patches.iter().map(|patch| patch.rect);
        let labels = self.label_places.iter().copied();
        tags.chain(patches).chain([self.scale_bar]).chain(labels).chain(self.slips())
    }

    /// The layout that owns a tag id.
    pub fn with_tag(id: u16) -> Option<&'static Self> {
        LAYOUTS.into_iter().find(|layout| layout.tag(id).is_some())
    }

    /// The layout with a number of windows.
    pub fn with_windows(count: usize) -> Option<&'static Self> {
        LAYOUTS.into_iter().find(|layout| layout.windows.len() == count)
    }
}

const fn scale_bar(x0: f64, middle_y: f64) -> RectMm {
    RectMm::at(x0, middle_y - SCALE_BAR_THICKNESS_MM / 2.0, SCALE_BAR_MM, SCALE_BAR_THICKNESS_MM)
}

const fn grey(level: u8) -> [u8; 3] {
    [level, level, level]
}

const YELLOW_TO_SKY: [[u8; 3]; PATCH_ROWS] =
    [[245, 236, 150], [236, 214, 60], [178, 208, 70], [98, 170, 84], [52, 140, 130], [150, 200, 226]];
const PINK_TO_RED: [[u8; 3]; PATCH_ROWS] =
    [[247, 214, 220], [232, 140, 170], [190, 62, 120], [122, 70, 140], [240, 150, 64], [200, 56, 48]];
const LIGHT_TO_DARK: [[u8; 3]; PATCH_ROWS] = [PAPER, grey(215), grey(175), grey(130), grey(85), grey(30)];
const DARK_TO_LIGHT: [[u8; 3]; PATCH_ROWS] = [grey(30), grey(85), grey(130), grey(175), grey(215), PAPER];
/// Half-strength colours between those of the outer columns, for the middle of the wide card.
const SOFT: [[u8; 3]; PATCH_ROWS] =
    [[226, 226, 176], [204, 186, 108], [138, 178, 140], [120, 160, 190], [196, 146, 180], [210, 150, 116]];

/// Version 1: 150 x 100 mm, tags 0 to 3, one window.
pub static VERSION_1: Layout = Layout {
    version: 1,
    width_mm: 150.0,
    height_mm: 100.0,
    tags: [
        Tag { id: 0, x0: 5.0, y0: 5.0 },
        Tag { id: 1, x0: 129.0, y0: 5.0 },
        Tag { id: 2, x0: 129.0, y0: 79.0 },
        Tag { id: 3, x0: 5.0, y0: 79.0 },
    ],
    patches: &patches::<24>(
        &[
            Column { x0: 28.0, colours: YELLOW_TO_SKY },
            Column { x0: 41.0, colours: LIGHT_TO_DARK },
            Column { x0: 98.0, colours: DARK_TO_LIGHT },
            Column { x0: 111.0, colours: PINK_TO_RED },
        ],
        8.0,
    ),
    windows: &[RectMm::new(57.0, 8.0, 93.0, 92.0)],
    scale_bar: scale_bar(28.0, 96.0),
    slip_places: &[PointMm { x: 13.0, y: 50.0 }, PointMm { x: 137.0, y: 50.0 }],
    label_places: &[],
};

/// Version 2: A5 landscape, tags 4 to 7, four windows with a column of patches on either side of each.
///
/// The windows reach to 8 mm above the lower edge, where vials stand; the patches stand as low as
/// the lower tags let the outer columns go.
pub static VERSION_2: Layout = Layout {
    version: 2,
    width_mm: 210.0,
    height_mm: 148.0,
    tags: [
        Tag { id: 4, x0: 5.0, y0: 5.0 },
        Tag { id: 5, x0: 189.0, y0: 5.0 },
        Tag { id: 6, x0: 189.0, y0: 127.0 },
        Tag { id: 7, x0: 5.0, y0: 127.0 },
    ],
    patches: &patches::<30>(
        &[
            Column { x0: 6.0, colours: YELLOW_TO_SKY },
            Column { x0: 55.5, colours: LIGHT_TO_DARK },
            Column { x0: 99.5, colours: SOFT },
            Column { x0: 143.5, colours: DARK_TO_LIGHT },
            Column { x0: 193.0, colours: PINK_TO_RED },
        ],
        38.0,
    ),
    windows: &[
        RectMm::at(24.0, 50.0, 30.0, 90.0),
        RectMm::at(68.0, 50.0, 30.0, 90.0),
        RectMm::at(112.0, 50.0, 30.0, 90.0),
        RectMm::at(156.0, 50.0, 30.0, 90.0),
    ],
    scale_bar: scale_bar(28.0, 144.0),
    slip_places: &[],
    label_places: &[
        RectMm::at(24.0, 42.0, 30.0, 6.0),
        RectMm::at(68.0, 42.0, 30.0, 6.0),
        RectMm::at(112.0, 42.0, 30.0, 6.0),
        RectMm::at(156.0, 42.0, 30.0, 6.0),
    ],
};

/// Every layout.
pub static LAYOUTS: [&Layout; 2] = [&VERSION_1, &VERSION_2];

#[cfg(test)]
mod tests {
    use super::*;

    /// Every unordered pair of a slice.
    fn pairs<T: Copy>(all: &[T]) -> Vec<(T, T)> {
        let tail = |i: usize| all[i + 1..].iter().map(move |&b| (all[i], b));
        (0..all.len()).flat_map(tail).collect()
    }

    #[test]
    fn nothing_on_a_card_overlaps_anything_else() {
        for layout in LAYOUTS {
            let mut all: Vec<RectMm> = layout.tags.iter().map(|tag| tag.rect().grown(TAG_QUIET_MM)).collect();
            all.extend(layout.patches.iter().map(|patch| patch.rect));
            all.extend(layout.windows.iter().map(|window| window.grown(WINDOW_OUTLINE_MM)));
            all.push(layout.scale_bar);
            all.extend(layout.slips());
            all.extend(layout.label_places);
            for (a, b) in pairs(&all) {
                assert!(!a.overlaps(&b), "version {}: {a:?} and {b:?}", layout.version);
            }
            let card = layout.outline();
            assert!(all.iter().flat_map(RectMm::corners).all(|corner| card.contains(corner)));
        }
    }

    #[test]
    fn version_1_is_where_its_specification_puts_it() {
        let card = &VERSION_1;
        assert_eq!(card.tag(2).map(Tag::rect), Some(RectMm::new(129.0, 79.0, 145.0, 95.0)));
        let at = |column, row| card.patches.iter().find(|p| (p.column, p.row) == (column, row)).unwrap();
        assert_eq!(at(0, 0).rect, RectMm::new(28.0, 8.0, 39.0, 20.0));
        assert_eq!(at(3, 5).rect, RectMm::new(111.0, 80.0, 122.0, 92.0));
        assert_eq!(at(2, 0).nominal_srgb, [30, 30, 30]);
        assert_eq!((at(1, 0).kind, at(2, 5).kind), (PatchKind::Paper, PatchKind::Paper));
        assert_eq!(card.patches_of(PatchKind::Colour).count(), 12);
        assert_eq!(card.patches_of(PatchKind::Neutral).count(), 10);
        assert_eq!(card.scale_bar, RectMm::new(28.0, 95.75, 68.0, 96.25));
    }

    #[test]
    fn layouts_mirror_left_and_right_but_for_the_scale_bar() {
        for layout in LAYOUTS {
            let mirrored =
                |r: RectMm| RectMm::new(layout.width_mm - r.x1, r.y0, layout.width_mm - r.x0, r.y1);
            let rects = |of: Vec<RectMm>| of.iter().all(|&r| of.contains(&mirrored(r)));
            assert!(rects(layout.patches.iter().map(|p| p.rect).collect()));
            assert!(rects(layout.windows.to_vec()));
            assert!(rects(layout.tags.iter().map(Tag::rect).collect()));
        }
    }

    #[test]
    fn a_tag_names_its_layout() {
        assert_eq!(Layout::with_tag(3).map(|layout| layout.version), Some(1));
        assert_eq!(Layout::with_tag(4).map(|layout| layout.version), Some(2));
        assert_eq!(Layout::with_tag(100), None);
        assert_eq!(Layout::with_windows(4).map(|layout| layout.version), Some(2));
    }
}
