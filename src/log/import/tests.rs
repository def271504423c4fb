//! Tables and tank files as spreadsheets and people write them.

use chrono::FixedOffset;
use proptest::prelude::*;

use super::csv::{Imported, UnknownTable, read};
use super::facts;
use super::seen::Seen;
use crate::log::tests::at;
use crate::log::{Entry, Id, Log, Reading, table};
use crate::reading::Status;

fn zone() -> FixedOffset {
    FixedOffset::east_opt(3600).unwrap()
}

fn readings(bytes: &[u8]) -> Imported {
    read(bytes, "t.csv", &zone()).unwrap()
}

fn values(imported: &Imported) -> Vec<(Option<f64>, Option<f64>, Option<f64>)> {
    let mut values = Vec::new();
    for entry in &imported.entries {
        let Entry::Reading(Reading { measurement, .. }) = entry else { panic!("not a reading") };
        values.push((measurement.value, measurement.low, measurement.high));
    }
    values
}

const PLAIN: &str = "taken_at,tank,analyte,value,unit,low,high,note\n\
    2031-03-04T18:05:00+01:00,A,ammonia,1.5,mg/L NH3,1.2,1.8,\"said \"\"fine\"\"\"\n\
    2031-03-04T18:05:00+01:00,A,nitrate,100,mg/L NO3,85,,at or past the chart's last colour\n";

#[test]
fn a_plain_table_needs_no_assumption() {
    let imported = readings(PLAIN.as_bytes());
    assert_eq!((imported.assumed.len(), imported.rejected.len(), imported.odd.len()), (0, 0, 0));
    assert_eq!(values(&imported), [(Some(1.5), Some(1.2), Some(1.8)), (None, Some(85.0), None)]);
    let Entry::Reading(reading) = &imported.entries[1] else { panic!() };
    assert_eq!(reading.measurement.status, Status::AboveRange);
}

#[test]
fn a_spreadsheets_variations_give_the_same_and_are_said() {
    let semicolons = "\u{feff}Taken_At;tank;analyte;value;unit;low;high;note\r\n\
        2031-03-04T18:05:00+01:00;A;ammonia;1,5;mg/L NH3;1,2;1,8;\"said \"\"fine\"\"\"\r\n\
        2031-03-04T18:05:00+01:00;A;nitrate;100;mg/L NO3;85;;at or past the chart's last colour\r\n";
    let tabs = semicolons.replace(';', "\t");
    let utf16: Vec<u8> = tabs.encode_utf16().flat_map(u16::to_le_bytes).collect();
    for bytes in [semicolons.as_bytes(), tabs.as_bytes(), &utf16] {
        let imported = readings(bytes);
        assert_eq!(imported.entries, readings(PLAIN.as_bytes()).entries);
        let said = imported.assumed.join("\n");
        assert!(said.contains("separated by") && said.contains("decimal"), "{said}");
    }
}

#[test]
fn mixed_decimal_marks_are_not_guessed_at() {
    let text = "taken_at;tank;analyte;value\n2031-03-04T18:05:00Z;A;ammonia;1,5\n2031-03-04T18:05:00Z;A;nitrite;0.5\n";
    let imported = readings(text.as_bytes());
    assert_eq!(imported.entries.len(), 1);
    assert_eq!(imported.rejected[0].0, 2);
    assert!(imported.rejected[0].1.contains("point"));
}

#[test]
fn a_file_in_windows_1252_is_read_and_said() {
    let text = b"taken_at,tank,analyte,value,unit\n2031-03-04T18:05:00Z,K\xe4fer,temperature,25,\xb0C\n";
    let imported = readings(text);
    assert_eq!(imported.entries[0].tank(), Some("Käfer"));
    assert!(imported.assumed[0].contains("Windows-1252"));
}

#[test]
fn bad_rows_are_named_by_their_line_and_the_rest_goes_in() {
    let text = "taken_at,tank,analyte,value,unit,low,high,note\n\
        \n\
        2031-03-04T18:05:00Z,A,ammonia,1.5,,,,\"a note\nover two lines\"\n\
        someday,A,ammonia,1.5,,,,\n\
        2031-03-04T18:05:00Z,A,ammonium,1.5,,,,\n\
        2031-03-04T18:05:00Z,A,ammonia,NaN,,,,\n\
        2031-03-04T18:05:00Z,A,ammonia,1e999,,,,\n\
        2031-03-04T18:05:00Z,A,ammonia,,,,,\n\
        2031-03-04T18:05:00Z,A,ammonia,1.5,mg/L NO2,,,\n\
        2031-03-04T18:05:00Z,,ammonia,1.5,,,,\n\
        2031-03-04T18:05:00Z,A,ammonia,1.5,,2,1,\n\
        2031-03-04T18:05:00Z,A,ph,70,,,,\n\
        2031-03-04T18:05:00Z,A,ammonia,1,5,,,,,\n\
        2031-03-04T18:05:00Z,A,nitrite,0.5,mg/L N,,,\n";
    let imported = readings(text.as_bytes());
    let lines: Vec<u64> = imported.rejected.iter().map(|(line, _)| *line).collect();
    assert_eq!(lines, [5, 6, 7, 8, 9, 10, 11, 12, 13, 14]);
    assert_eq!(imported.entries.len(), 2);
    let Some(Some(nitrite)) = values(&imported).last().map(|numbers| numbers.0) else { panic!() };
    approx::assert_relative_eq!(nitrite, 1.6422, epsilon = 1e-4);
}

#[test]
fn times_without_a_zone_are_the_keepers_and_said_once() {
    let text = "at,tank,event,amount\n2031-03-04 18:05,A,food,1\n2031-03-05 18:05,A,food,1\n4.3.2031 9:00,A,filter_cleaned,\n";
    let imported = readings(text.as_bytes());
    assert_eq!(imported.entries[0].at(), Some(at("2031-03-04T18:05:00+01:00")));
    assert_eq!(imported.entries[2].at(), Some(at("2031-03-04T09:00:00+01:00")));
    assert_eq!(imported.assumed.len(), 3, "{:?}", imported.assumed);
}

#[test]
fn a_table_of_something_else_is_refused_with_both_headers() {
    for text in ["", "\n\n", "tank,now,stage\nA,,\n", "\u{0}\u{0}", "<html>"] {
        let UnknownTable { .. } = read(text.as_bytes(), "t.csv", &zone()).unwrap_err();
    }
    let message = read(b"\x1b[31m,b\n", "t.csv", &zone()).unwrap_err().to_string();
    assert!(
        message.contains("taken_at,tank") && message.contains("at,tank,event") && !message.contains('\x1b')
    );
}

#[test]
fn a_tank_file_says_what_was_left_out_of_it() {
    let (facts, said) =
        facts::read(br#"{"tank":"A","volume_l":110,"tap":{"ph":8,"smell":"none"},"owner":"x"}"#).unwrap();
    assert_eq!((facts.volume_l, facts.tap.ph), (Some(110.0), Some(8.0)));
    assert!(said[0].contains("owner") && said[0].contains("tap.smell"));
    assert!(facts::read(b"{\"tank\":\"\"}").is_err());
    assert_eq!(facts::read(b"[1"), Err(facts::FactsError::OtherKind));
    let bad = facts::read(b"{\"tank\":\"A\",\n\"volume_l\":\"big\"}").unwrap_err();
    assert!(bad.to_string().contains("line 2"), "{bad}");
}

fn logged(home: &std::path::Path, entries: &[Entry]) -> Seen {
    let log = Log::at(home);
    log.append(entries, at("2031-03-05T00:00:00Z")).unwrap();
    let mut seen = Seen::default();
    seen.catch_up(&log.load().unwrap());
    seen
}

#[test]
fn rows_that_stand_twice_in_a_file_are_two_and_no_more_on_repeat() {
    let home = tempfile::tempdir().unwrap();
    let row = "2031-03-04T18:05:00Z,A,ammonia_dose,2\n";
    let imported = readings(format!("at,tank,event,amount\n{row}{row}").as_bytes());
    assert_eq!(imported.odd[0].0, 3);
    let entries = imported.entries;
    assert_eq!(Seen::default().fresh(&entries).entries.len(), 2);
    let seen = logged(home.path(), &entries);
    assert_eq!(seen.fresh(&entries).known, 2);
    let mut more = entries.clone();
    more.push(entries[0].clone());
    assert_eq!(seen.fresh(&more).entries.len(), 1);
}

#[test]
fn an_edited_row_is_new_beside_the_old_one() {
    let home = tempfile::tempdir().unwrap();
    let row = |amount| {
        readings(format!("at,tank,event,amount\n2031-03-04T18:05:00Z,A,food,{amount}\n").as_bytes()).entries
    };
    let fresh = logged(home.path(), &row(2)).fresh(&row(3));
    assert_eq!((fresh.entries.len(), fresh.beside.len(), fresh.beside[0].1), (1, 1, Id(1)));
    assert!(Seen::default().fresh(&row(3)).beside.is_empty());
}

#[test]
fn a_corrected_or_withdrawn_entry_is_known_in_all_its_versions() {
    use crate::log::record::{Amount, Change, Correction, Verdict};
    let home = tempfile::tempdir().unwrap();
    let first = readings(b"at,tank,event,amount\n2031-03-04T18:05:00Z,A,ammonia_dose,2\n").entries;
    let second = readings(b"at,tank,event,amount\n2031-03-04T18:05:00Z,A,ammonia_dose,3\n").entries;
    let kind = crate::terms::EventKind::AmmoniaDose;
    let set = Change { event: Some(Amount { kind, amount: Some(3.0) }), ..Change::default() };
    let all = [
        first[0].clone(),
        Entry::Correction(Correction { of: Id(1), set, reason: String::new() }),
        Entry::Withdrawal(Verdict { of: Id(1), reason: String::new() }),
    ];
    let seen = logged(home.path(), &all);
    assert_eq!((seen.fresh(&first).known, seen.fresh(&second).known), (1, 1));
}

proptest! {
    #[test]
    fn no_bytes_make_the_reader_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let header = b"taken_at,tank,analyte,value,unit,low,high,note\n";
        let _ = read(&[&header[..], &bytes].concat(), "t.csv", &zone());
        let _ = read(&bytes, "t.csv", &zone());
        let _ = facts::read(&bytes);
    }

    /// What is exported comes back as the same readings, whatever the words in it.
    #[test]
    fn an_export_imports_as_what_it_was(
        tank in "[=+@A-Za-z0-9;,\"'<>/\\\\-][=+@A-Za-z0-9 ;,\"'<>/-]{0,12}[a-z]",
        value in 0.0..1e6_f64,
        status in 0..3_u8,
    ) {
        let mut entries = readings(PLAIN.as_bytes()).entries;
        let Entry::Reading(reading) = &mut entries[0] else { panic!() };
        reading.tank.clone_from(&tank);
        let measurement = &mut reading.measurement;
        (measurement.status, measurement.value, measurement.low, measurement.high) = match status {
            0 => (Status::Read, Some(value), Some(0.5 * value), Some(2.0 * value)),
            1 => (Status::AboveRange, None, Some(value), None),
            _ => (Status::BelowDetection, Some(0.0), None, Some(value)),
        };
        // Photos give a lower bound of zero too; the table leaves it out, and it is the same reading.
        let mut with_zero = reading.clone();
        with_zero.measurement.low = with_zero.measurement.low.or(Some(0.0));
        let mut bytes = Vec::new();
        table::write_readings([&*reading], &mut bytes).unwrap();
        let again = readings(&bytes);
        prop_assert_eq!(again.rejected, []);
        let Entry::Reading(back) = &again.entries[0] else { panic!() };
        prop_assert_eq!(&back.tank, &tank);
        prop_assert_eq!(&back.measurement, &reading.measurement);
        prop_assert!(again.assumed.is_empty());
        let mut bytes_with_zero = Vec::new();
        table::write_readings([&with_zero], &mut bytes_with_zero).unwrap();
        prop_assert_eq!(bytes_with_zero, bytes);
        let home = tempfile::tempdir().unwrap();
        let seen = logged(home.path(), &[Entry::Reading(with_zero)]);
        prop_assert_eq!(seen.fresh(&again.entries).known, 1);
    }
}
