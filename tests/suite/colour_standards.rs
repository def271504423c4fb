//! Published values of colour science against the conversions that the project measures with.
//!
//! The conversions are those of a library; these tests pin which constants it uses, so that an update
//! that shifts them is seen. Each test names its source and the reason for its tolerance.

use approx::assert_abs_diff_eq;
use palette::chromatic_adaptation::{AdaptIntoUnclamped, adaptation_matrix};
use palette::color_difference::Ciede2000;
use palette::lms::matrix::Bradford;
use palette::white_point::{A, D50, D65};
use palette::{FromColor, IntoColor, Lab, LinSrgb, Oklab, Srgb, Xyz};
use tintwell::colour::difference;
use tintwell::photo::Encoding;
use tintwell::terms::space::{PaperLab, RelativeRgb};

/// Rows of a CSV with a header; text fields become NaN.
fn rows(text: &str) -> Vec<Vec<f64>> {
    let number = |field: &str| field.parse().unwrap_or(f64::NAN);
    csv::Reader::from_reader(text.as_bytes())
        .records()
        .map(|row| row.unwrap().iter().map(number).collect())
        .collect()
}

/// The twelve 8-bit colours whose XYZ, Lab and Oklab were computed with two reference libraries.
fn twelve_colours() -> Vec<(Srgb<u8>, Vec<f64>)> {
    rows(include_str!("../../fixtures/check/srgb_xyz_lab_oklab.csv"))
        .into_iter()
        .map(|row| (Srgb::new(row[1] as u8, row[2] as u8, row[3] as u8), row[4..].to_vec()))
        .collect()
}

fn lab(l: f64, a: f64, b: f64) -> PaperLab {
    Lab::new(l, a, b)
}

/// 8-bit codes and their linear light by IEC 61966-2-1:1999, computed with colour-science 0.4.7, nine digits;
/// 10 and 11 lie on either side of the joint.
const DECODED: [(u8, f64); 10] = [
    (0_u8, 0.0),
    (1, 0.0003035269835),
    (10, 0.003035269836),
    (11, 0.003346535764),
    (64, 0.05126945837),
    (128, 0.2158605001),
    (188, 0.5028864581),
    (192, 0.5271151257),
    (200, 0.5775804404),
    (255, 1.0),
];

/// IEC 61966-2-1:1999.
#[test]
fn srgb_decodes_as_the_standard_says() {
    for (code, linear) in DECODED {
        let found: RelativeRgb = Srgb::new(code, code, code).into_format::<f64>().into_linear();
        assert_abs_diff_eq!(found.red, linear, epsilon = 1e-9);
    }
}

/// The same through the project's own decoding of pixels, whose tables hold single precision: 6e-8 of 1.
#[test]
fn pixels_decode_as_the_standard_says() {
    let encoding = Encoding::srgb();
    for (code, linear) in DECODED {
        for found in encoding.linear([code; 3]) {
            assert_abs_diff_eq!(found, linear, epsilon = 6e-8);
        }
        assert_eq!(encoding.srgb_code([code; 3]), [code; 3]);
    }
}

/// IEC 61966-2-1:1999, the other way and at the joint of its two branches.
#[test]
fn srgb_encodes_as_the_standard_says() {
    let encoded = |linear: f64| Srgb::<f64>::from_linear(LinSrgb::new(linear, linear, linear)).red;
    assert_abs_diff_eq!(encoded(0.18), 0.4613561295, epsilon = 1e-9);
    assert_abs_diff_eq!(encoded(0.5), 0.7353569831, epsilon = 1e-9);
    assert_abs_diff_eq!(encoded(0.0031308), 0.040449936, epsilon = 1e-7);
}

/// IEC 61966-2-1:1999, matrix to XYZ. The standard prints four digits of each entry, the library derives
/// them from the chromaticities; three entries rounded by up to 5e-5 add up to less than 2e-4.
#[test]
fn linear_srgb_goes_to_xyz_by_the_standard_matrix() {
    for (rgb, expected) in twelve_colours() {
        let xyz = Xyz::<D65, f64>::from_color(rgb.into_format::<f64>().into_linear());
        for (found, expected) in [xyz.x, xyz.y, xyz.z].into_iter().zip(&expected) {
            assert_abs_diff_eq!(found, *expected, epsilon = 2e-4);
        }
    }
}

/// CIE 015:2018. Two correct libraries differ by 0.02 in a* and b* through rounding of the matrix and the
/// white: scikit-image 0.26.0 has the same white as ours, colour-science 0.4.7 another.
#[test]
fn pixels_go_to_cielab_as_two_reference_libraries_have_it() {
    for (rgb, expected) in twelve_colours() {
        let found = difference::lab(Encoding::srgb().linear([rgb.red, rgb.green, rgb.blue]));
        for (i, found) in [found.l, found.a, found.b].into_iter().enumerate() {
            assert_abs_diff_eq!(found, expected[6 + i], epsilon = 0.012);
            assert_abs_diff_eq!(found, expected[3 + i], epsilon = 0.025);
        }
    }
}

/// CIE 015:2018, worked from given XYZ (colour-science 0.4.7): a usual colour, and a dark one on the
/// linear part of the function. The tolerance covers the white's digits, 0.95047 or 0.95046.
#[test]
fn xyz_goes_to_cielab_on_both_branches() {
    let cases = [
        ([0.20654008, 0.12197225, 0.05136952], [41.52787529, 52.63858304, 26.92317922]),
        ([0.001, 0.001, 0.001], [0.9032963, 0.2029560, 0.1273571]),
    ];
    for ([x, y, z], expected) in cases {
        let found: PaperLab = Xyz::<D65, f64>::new(x, y, z).into_color();
        for (found, expected) in [found.l, found.a, found.b].into_iter().zip(expected) {
            assert_abs_diff_eq!(found, expected, epsilon = 0.01);
        }
    }
    let d50: Lab<D50, f64> = Xyz::<D50, f64>::new(0.2, 0.3, 0.1).into_color();
    for (found, expected) in [d50.l, d50.a, d50.b].into_iter().zip([61.654222, -38.749494, 34.911253]) {
        assert_abs_diff_eq!(found, expected, epsilon = 0.01);
    }
}

/// Sharma, Wu, Dalal, Color Res. Appl. 30(1):21-30, 2005, table 1: all 34 pairs, to the four printed
/// decimals, in both orders.
#[test]
fn ciede2000_agrees_with_all_34_published_pairs() {
    let pairs = rows(include_str!("../../fixtures/check/ciede2000.csv"));
    assert_eq!(pairs.len(), 34);
    for p in pairs {
        let (one, two) = (lab(p[1], p[2], p[3]), lab(p[4], p[5], p[6]));
        assert_abs_diff_eq!(one.difference(two), p[7], epsilon = 5.1e-5);
        assert_abs_diff_eq!(two.difference(one), p[7], epsilon = 5.1e-5);
    }
}

/// Bradford between the whites 0.95047, 1, 1.08883 and 0.96422, 1, 0.82521 (Lam 1985, CIE 159; computed
/// with colour-science 0.4.7, and equal to the well-known published matrix).
#[test]
fn bradford_adaptation_has_the_published_matrix() {
    let found = adaptation_matrix::<f64, D65, D50, Bradford>(None, None).into_array();
    let expected = [
        1.04781124,
        0.0228866,
        -0.05012698,
        0.0295424,
        0.9904844,
        -0.0170491,
        -0.00923449,
        0.01504362,
        0.75213164,
    ];
    for (found, expected) in found.into_iter().zip(expected) {
        assert_abs_diff_eq!(found, expected, epsilon = 5e-5);
    }
}

/// As above, with whites given by chromaticity: x, y of 0.3127, 0.3290 and 0.3457, 0.3585 (test suite of
/// an open colour library, color.js).
#[test]
fn bradford_adaptation_has_the_published_matrix_for_rounded_whites() {
    let white = |x: f64, y: f64| (x / y, (1.0 - x - y) / y);
    let ((dx, dz), (wx, wz)) = (white(0.3127, 0.3290), white(0.3457, 0.3585));
    let found = adaptation_matrix::<f64, D65, D50, Bradford>(
        Some(Xyz::new(dx, 1.0, dz)),
        Some(Xyz::new(wx, 1.0, wz)),
    );
    let expected = [
        1.0479297925,
        0.0229468706,
        -0.0501922663,
        0.0296278088,
        0.9904344268,
        -0.0170737991,
        -0.0092430406,
        0.0150551915,
        0.7518742814,
    ];
    for (found, expected) in found.into_array().into_iter().zip(expected) {
        assert_abs_diff_eq!(found, expected, epsilon = 5e-5);
    }
}

/// Bradford from the light A to D65 (colour-science 0.4.7; its whites have other last digits).
#[test]
fn a_colour_under_light_a_is_adapted_to_daylight() {
    let found: Xyz<D65, f64> = Xyz::<A, f64>::new(0.5, 0.4, 0.1).adapt_into_unclamped();
    assert_abs_diff_eq!(found.x, 0.41465579, epsilon = 2e-4);
    assert_abs_diff_eq!(found.y, 0.38624936, epsilon = 2e-4);
    assert_abs_diff_eq!(found.z, 0.30531453, epsilon = 2e-4);
}

/// Ottosson, "A perceptual color space for image processing" (2020-12-23, matrices of 2021-01-25): the
/// table of XYZ and Oklab pairs, three decimals.
#[test]
fn xyz_goes_to_oklab_as_its_author_tabulates() {
    let table = [
        ([0.950, 1.0, 1.089], [1.0, 0.0, 0.0]),
        ([1.0, 0.0, 0.0], [0.450, 1.236, -0.019]),
        ([0.0, 1.0, 0.0], [0.922, -0.671, 0.263]),
        ([0.0, 0.0, 1.0], [0.153, -1.415, -0.449]),
    ];
    for ([x, y, z], expected) in table {
        let found = Oklab::from_color(Xyz::<D65, f64>::new(x, y, z));
        for (found, expected) in [found.l, found.a, found.b].into_iter().zip(expected) {
            assert_abs_diff_eq!(found, expected, epsilon = 1e-3);
        }
    }
}

/// As above, the six corners of sRGB by the direct matrix (color.js test suite, six decimals); through the
/// rounded matrix of IEC 61966-2-1 they would differ by 1e-4.
#[test]
fn light_goes_to_oklab_by_the_direct_matrix() {
    let table = [
        ([1.0, 0.0, 0.0], [0.627955, 0.224863, 0.125846]),
        ([0.0, 1.0, 0.0], [0.866440, -0.233888, 0.179498]),
        ([0.0, 0.0, 1.0], [0.452014, -0.032457, -0.311528]),
        ([0.0, 1.0, 1.0], [0.905399, -0.149444, -0.039398]),
        ([1.0, 0.0, 1.0], [0.701674, 0.274566, -0.169156]),
        ([1.0, 1.0, 0.0], [0.967983, -0.071369, 0.198570]),
    ];
    for ([r, g, b], expected) in table {
        let found = difference::oklab([r, g, b]);
        for (found, expected) in [found.l, found.a, found.b].into_iter().zip(expected) {
            assert_abs_diff_eq!(found, expected, epsilon = 2e-6);
        }
    }
}
