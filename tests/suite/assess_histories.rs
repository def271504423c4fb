//! The judgement measured against simulated histories whose truth is known.
//!
//! The histories of `fixtures/cycles` were simulated by a model with its own chemistry and a model keeper;
//! nothing in them was measured in a real tank. Every history goes the whole way: imported, assessed, and
//! read back from the JSON line. The thresholds are targets set beforehand, not what happened to come out.

use std::collections::BTreeMap;

use chrono::DateTime;
use rayon::prelude::*;
use serde_json::Value;

use crate::support::cycles::{folder, truths};
use crate::support::home::tintwell;

/// Days by which a fault may be misplaced: the time between two tests.
const FAULT_WITHIN_DAYS: f64 = 3.0;

fn judge(tank: &str) -> Value {
    let home = tempfile::tempdir().unwrap();
    let files = ["tank.json", "readings.csv", "events.csv"].map(|name| folder().join(tank).join(name));
    tintwell(home.path()).arg("import").args(files).assert().success();
    let now = std::fs::read_to_string(folder().join(tank).join("now.txt")).unwrap();
    let run = tintwell(home.path()).args(["assess", "--json", "--at", now.trim()]).assert().success();
    serde_json::from_slice(&run.get_output().stdout).unwrap()
}

/// Counts over a set of histories.
#[derive(Debug, Default)]
struct Score {
    tanks: usize,
    stage_exact: usize,
    stage_or_alternative: usize,
    falsely_ready: Vec<String>,
    missed_ready: Vec<String>,
    ready_after_a_loss: Vec<String>,
    clear_proofs: usize,
    clear_proofs_right: usize,
    passed_where_failed: Vec<String>,
    stalls: (usize, usize, usize),
    causes_right: usize,
    faults: (usize, usize, usize),
}

impl Score {
    fn count(&mut self, truth: &BTreeMap<String, String>, said: &Value) {
        let tank = truth["tank"].clone();
        self.tanks += 1;
        self.stage(truth, said);
        self.readiness(truth, said, &tank);
        self.proof(truth, said, &tank);
        self.stall(truth, said);
        self.fault(truth, said);
    }

    fn stage(&mut self, truth: &BTreeMap<String, String>, said: &Value) {
        let stage = said["stage"].as_str().unwrap();
        let exact = stage == truth["stage"];
        self.stage_exact += usize::from(exact);
        let alternative = truth["stage_alt"].split(';').any(|other| other == stage);
        self.stage_or_alternative += usize::from(exact || alternative);
    }

    fn readiness(&mut self, truth: &BTreeMap<String, String>, said: &Value, tank: &str) {
        let ready = said["ready"].as_bool().unwrap();
        let passes = truth["proof_true_now"] == "true";
        let proved = truth["proof_test_in_log"] == "passed";
        if ready && !passes {
            self.falsely_ready.push(tank.to_owned());
        }
        if !ready && passes && proved {
            self.missed_ready.push(tank.to_owned());
        }
        if ready && proved && truth["stage"] == "stalled" {
            self.ready_after_a_loss.push(tank.to_owned());
        }
    }

    fn proof(&mut self, truth: &BTreeMap<String, String>, said: &Value, tank: &str) {
        if truth["proof_test_clear"] != "true" {
            return;
        }
        let told = said["proof"].as_str().unwrap();
        let true_outcome = match truth["proof_test_in_log"].as_str() {
            "none" => "not_shown",
            other => other,
        };
        self.clear_proofs += 1;
        self.clear_proofs_right += usize::from(told == true_outcome);
        if told == "passed" && true_outcome == "failed" {
            self.passed_where_failed.push(tank.to_owned());
        }
    }

    fn stall(&mut self, truth: &BTreeMap<String, String>, said: &Value) {
        let (told, true_stall) = (said["stage"] == "stalled", truth["stage"] == "stalled");
        match (told, true_stall) {
            (true, true) => {
                self.stalls.0 += 1;
                self.causes_right += usize::from(said["stall_cause"] == truth["stall_cause"].as_str());
            }
            (true, false) => self.stalls.1 += 1,
            (false, true) => self.stalls.2 += 1,
            (false, false) => {}
        }
    }

    fn fault(&mut self, truth: &BTreeMap<String, String>, said: &Value) {
        let true_kind = truth["log_fault"].as_str();
        let mut found = false;
        for fault in said["faults"].as_array().unwrap() {
            let here = fault["kind"] == true_kind && !found && {
                let at = |text: &str| DateTime::parse_from_rfc3339(text).unwrap();
                let apart = at(fault["at"].as_str().unwrap()) - at(&truth["fault_at"]);
                (apart.num_minutes() as f64 / 1440.0).abs() <= FAULT_WITHIN_DAYS
            };
            found |= here;
            if here {
                self.faults.0 += 1;
            } else {
                self.faults.1 += 1;
            }
        }
        self.faults.2 += usize::from(true_kind != "none" && !found);
    }
}

fn share(part: usize, whole: usize) -> f64 {
    part as f64 / whole.max(1) as f64
}

/// Precision and recall of found, false and missed.
fn precision_recall((found, invented, missed): (usize, usize, usize)) -> (f64, f64) {
    (share(found, found + invented), share(found, found + missed))
}

#[test]
fn the_judgement_meets_its_targets_on_the_simulated_histories() {
    let said: Vec<_> = truths().par_iter().map(|truth| (truth.clone(), judge(&truth["tank"]))).collect();
    let mut all = Score::default();
    let mut halves = [Score::default(), Score::default()];
    for (index, (truth, said)) in said.iter().enumerate() {
        all.count(truth, said);
        halves[index % 2].count(truth, said);
    }
    let (stall_precision, stall_recall) = precision_recall(all.stalls);
    let (fault_precision, fault_recall) = precision_recall(all.faults);
    println!("{all:#?}");
    println!(
        "stage {:.2}, with alternatives {:.2}; stalls {stall_precision:.2}/{stall_recall:.2}; faults {fault_precision:.2}/{fault_recall:.2}",
        share(all.stage_exact, all.tanks),
        share(all.stage_or_alternative, all.tanks)
    );

    assert_eq!(all.tanks, 60);
    assert!(all.falsely_ready.is_empty(), "false ready: {:?}", all.falsely_ready);
    assert!(all.ready_after_a_loss.is_empty(), "{:?}", all.ready_after_a_loss);
    assert!(all.missed_ready.len() <= 1, "missed ready: {:?}", all.missed_ready);
    assert!(all.passed_where_failed.is_empty(), "{:?}", all.passed_where_failed);
    assert!(share(all.clear_proofs_right, all.clear_proofs) >= 0.98, "{all:?}");
    assert!(share(all.stage_exact, all.tanks) >= 0.75, "{all:?}");
    assert!(share(all.stage_or_alternative, all.tanks) >= 0.92, "{all:?}");
    assert!(stall_precision >= 0.8 && stall_recall >= 0.8, "{all:?}");
    assert!(share(all.causes_right, all.stalls.0) >= 0.7, "{all:?}");
    assert!(fault_precision >= 0.8 && fault_recall >= 0.6, "{all:?}");
    // Neither half carries the other: nothing here is true of a few histories alone.
    for half in halves {
        assert!(share(half.stage_exact, half.tanks) >= 0.7, "{half:?}");
        let (precision, recall) = precision_recall(half.stalls);
        assert!(precision >= 0.7 && recall >= 0.7, "{half:?}");
    }
}
