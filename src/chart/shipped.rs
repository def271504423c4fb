//! Charts that come with the program. They were made from rendered photos and are for trying it out.

use std::path::Path;

use super::file::{Chart, ChartError};

/// Name and text of each.
const CHARTS: [(&str, &str); 5] = [
    ("rendered-ammonia", include_str!("../../calibration/rendered-ammonia.json")),
    ("rendered-nitrite", include_str!("../../calibration/rendered-nitrite.json")),
    ("rendered-nitrate", include_str!("../../calibration/rendered-nitrate.json")),
    ("rendered-ph", include_str!("../../calibration/rendered-ph.json")),
    ("rendered-strip", include_str!("../../calibration/rendered-strip.json")),
];

/// Their names.
pub fn names() -> impl Iterator<Item = &'static str> {
    CHARTS.iter().map(|(name, _)| *name)
}

/// The chart of a name, if it is one of them.
pub fn find(name: &str) -> Option<Result<Chart, ChartError>> {
    let (name, text) = CHARTS.iter().find(|(known, _)| *known == name)?;
    Some(Chart::parse(text.as_bytes(), Path::new(name)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_chart_can_be_read() {
        for name in names() {
            let chart = find(name).unwrap().unwrap();
            assert_eq!(chart.name, name);
            assert!(chart.scales.iter().all(|scale| scale.ruler(chart.form).is_some()));
        }
    }
}
