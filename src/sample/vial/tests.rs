use super::*;

const WINDOW: RectMm = RectMm::new(57.0, 8.0, 93.0, 92.0);
/// The outer edges of the vial's walls.
const WALLS: (f64, f64) = (66.0, 84.0);

/// A vial from 20 mm down to its base, with liquid from a surface on, before a card that ends at 100 mm.
fn standing(surface: f64, base: f64) -> Raster {
    let light = move |x: f64, y: f64| {
        let inside = x - WALLS.0;
        let is_wall = !(1.0..WALLS.1 - WALLS.0 - 1.0).contains(&inside);
        match () {
            () if x < WALLS.0 || x > WALLS.1 || !(20.0..base).contains(&y) => [1.0; 3],
            () if is_wall => [0.4; 3],
            () if y >= surface => [0.95, 0.5, 0.6],
            () => [0.95; 3],
        }
    };
    Raster::of(RectMm::new(50.0, 8.0, 100.0, 99.5), GRID_MM, light)
}

/// Top and bottom of the liquid that is measured.
fn column(raster: &Raster) -> Result<(f64, f64), SampleError> {
    let walls = walls::find(raster, (55.0, 95.0), wall_rows(WINDOW), |_| false);
    let axis = Axis { x: 75.0, y: walls.y, tilt: walls.tilt };
    let end = column_end(raster, &walls, 100.0 - CARD_END_MM);
    liquid_column(raster, &axis, WALLS.1 - WALLS.0, WINDOW, end)
}

#[test]
fn the_column_begins_below_the_meniscus_and_ends_with_the_card() {
    let (top, bottom) = column(&standing(40.0, 110.0)).unwrap();
    // An edge is known to the distance over which it is taken, 0.5 mm either way.
    assert!((top - 43.0).abs() < 0.6, "{top}");
    assert_eq!(bottom, 100.0 - CARD_END_MM);
}

/// The bare card below its base is as clear as liquid that shows nothing.
#[test]
fn the_card_below_a_vial_that_stands_high_is_no_liquid() {
    for base in [82.0, 84.5, 86.0, 88.0, 91.0, 95.0] {
        let (top, bottom) = column(&standing(40.0, base)).unwrap();
        assert!((top - (40.0 + MENISCUS_MM)).abs() < 0.6, "{base}: {top}");
        assert!(bottom < base && bottom > base - 6.5, "{base}: {bottom}");
    }
    let refused = column(&standing(74.0, 84.0));
    assert!(matches!(refused, Err(SampleError::TooLittleLiquid { .. })), "{refused:?}");
}
