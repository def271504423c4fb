use approx::assert_relative_eq;

use super::*;

/// The columns of a CSV with a header, as numbers.
fn columns(text: &str) -> Vec<Vec<f64>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let mut columns = vec![Vec::new(); reader.headers().unwrap().len()];
    for row in reader.records() {
        for (column, field) in columns.iter_mut().zip(row.unwrap().iter()) {
            column.push(field.parse().unwrap());
        }
    }
    columns
}

/// A certified value and its standard deviation, by data set and quantity.
fn certified(set: &str, quantity: &str) -> (f64, Option<f64>) {
    let text = include_str!("../../../fixtures/check/nist_certified.csv");
    let row = csv::Reader::from_reader(text.as_bytes())
        .into_records()
        .map(Result::unwrap)
        .find(|row| &row[0] == set && &row[2] == quantity)
        .unwrap_or_else(|| panic!("no certified {quantity} of {set}"));
    (row[3].parse().unwrap(), row[4].parse().ok())
}

/// Compares all that NIST certifies (Statistical Reference Datasets, linear regression) to a number of digits.
fn agrees(set: &str, first_term: usize, fit: &Polynomial, digits: i32) {
    let tolerance = 10_f64.powi(-digits);
    for (term, &found) in fit.coefficients.iter().enumerate() {
        let (value, sd) = certified(set, &format!("B{}", term + first_term));
        assert_relative_eq!(found, value, max_relative = tolerance);
        if let Some(sd) = sd {
            assert_relative_eq!(
                fit.standard_error(term).unwrap(),
                sd,
                max_relative = tolerance,
                epsilon = 1e-8
            );
        }
    }
}

#[test]
fn norris_agrees_with_nist_to_nine_digits() {
    let data = columns(include_str!("../../../fixtures/check/nist_norris.csv"));
    let fit = polynomial(&data[0], &data[1], 1).unwrap();
    agrees("norris", 0, &fit, 9);
    assert_relative_eq!(fit.residual_sd.unwrap(), certified("norris", "resid_sd").0, max_relative = 1e-9);
    assert_relative_eq!(fit.r_squared.unwrap(), certified("norris", "R2").0, max_relative = 1e-12);
}

#[test]
fn pontius_agrees_with_nist_to_seven_digits() {
    let data = columns(include_str!("../../../fixtures/check/nist_pontius.csv"));
    let fit = polynomial(&data[0], &data[1], 2).unwrap();
    agrees("pontius", 0, &fit, 7);
    assert_relative_eq!(fit.residual_sd.unwrap(), certified("pontius", "resid_sd").0, max_relative = 1e-7);
    assert_relative_eq!(fit.r_squared.unwrap(), certified("pontius", "R2").0, max_relative = 1e-12);
}

#[test]
fn a_line_through_the_origin_agrees_with_nist_noint1() {
    let data = columns(include_str!("../../../fixtures/check/nist_noint1.csv"));
    let fit = through_origin(&data[0], &data[1]).unwrap();
    agrees("noint1", 1, &fit, 9);
    assert_relative_eq!(fit.residual_sd.unwrap(), certified("noint1", "resid_sd").0, max_relative = 1e-9);
    assert_relative_eq!(fit.r_squared.unwrap(), certified("noint1", "R2").0, max_relative = 1e-12);
}

/// Degree 5 over 0 to 20; Wampler 3 and 4 bury the same polynomial under large residuals.
#[test]
fn wampler_agrees_with_nist_to_seven_digits() {
    let data = columns(include_str!("../../../fixtures/check/nist_wampler.csv"));
    for (set, column) in [("wampler1", 1), ("wampler2", 2), ("wampler3", 3), ("wampler4", 4)] {
        let fit = polynomial(&data[0], &data[column], 5).unwrap();
        agrees(set, 0, &fit, 7);
    }
}

#[test]
fn as_many_points_as_terms_give_no_standard_error() {
    let fit = polynomial(&[0.0, 1.0], &[1.0, 3.0], 1).unwrap();
    assert_relative_eq!(fit.at(2.0), 5.0, max_relative = 1e-12);
    assert_eq!((fit.residual_sd, fit.standard_error(0)), (None, None));
}

#[test]
fn points_that_fix_nothing_are_refused() {
    assert_eq!(polynomial(&[1.0], &[1.0, 2.0], 1), Err(RegressionError::Unpaired { xs: 1, ys: 2 }));
    let same = polynomial(&[2.0, 2.0, 2.0], &[1.0, 2.0, 3.0], 1);
    assert_eq!(same, Err(RegressionError::TooFewPoints { distinct: 1, terms: 2 }));
    assert_eq!(polynomial(&[1.0, f64::NAN], &[1.0, 2.0], 1), Err(RegressionError::NotFinite));
    assert!(through_origin(&[0.0, 0.0], &[1.0, 2.0]).is_err());
}

proptest::proptest! {
    #[test]
    fn points_on_a_parabola_give_it_back(a in -10.0..10.0, b in -10.0..10.0, c in -10.0..10.0, far in -1e4..1e4_f64) {
        let xs: Vec<f64> = (0..9).map(|i| far + f64::from(i)).collect();
        let ys: Vec<f64> = xs.iter().map(|x| a + b * (x - far) + c * (x - far).powi(2)).collect();
        let fit = polynomial(&xs, &ys, 2).unwrap();
        for (x, y) in xs.iter().zip(&ys) {
            // Coefficients about zero cancel where the points are far from it.
            proptest::prop_assert!((fit.at(*x) - y).abs() < 1e-5 * (1.0 + y.abs()));
        }
    }
}
