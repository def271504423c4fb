use image::RgbImage;

use super::*;
use crate::card::layout::{self, VERSION_1};

/// The card's tags as a plane shows them at ten pixels a millimetre, each moved by so many
/// millimetres to the right; nothing in the picture itself moves their corners.
fn located(moved_mm: [f64; 4]) -> Result<(Homography, Vec<u16>, f64), CardError> {
    let tag = |(k, tag): (usize, &layout::Tag)| Tag {
        id: tag.id,
        corners: tag.rect().corners().map(|p| (10.0 * (p.x + moved_mm[k]), 10.0 * p.y)),
        wrong_bits: 0,
        mirrored: false,
    };
    let tags: Vec<Tag> = VERSION_1.tags.iter().enumerate().map(tag).collect();
    locate(&Upright::from(RgbImage::new(1500, 1000)), &VERSION_1, &tags)
}

#[test]
fn a_tag_beside_the_plane_of_the_others_is_left_out() {
    let (map, kept, residual_mm) = located([0.0, 0.0, 6.0, 0.0]).unwrap();
    assert_eq!(kept, [0, 1, 3]);
    assert!(residual_mm < 1e-9, "{residual_mm}");
    let (x, y) = map.apply((75.0, 50.0));
    assert!((x - 750.0).abs() < 1e-6 && (y - 500.0).abs() < 1e-6, "{x} {y}");
}

/// A card bent or cut apart so that no three tags lie in one plane's projection.
#[test]
fn tags_that_lie_in_no_plane_are_no_flat_card() {
    let refused = located([0.0, 8.0, -6.0, 5.0]).unwrap_err();
    let CardError::NotFlat { residual_mm } = refused else { panic!("{refused}") };
    assert!(residual_mm > MOST_RESIDUAL_MM, "{residual_mm}");
}
