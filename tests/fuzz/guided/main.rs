//! One target, named by `TINTWELL_TARGET`, led by coverage for as long as wished.
//!
//! With `TINTWELL_SEEDS` the target's sound input is written to that folder first.
#![no_main]

#[path = "../targets.rs"]
mod targets;

use std::path::Path;
use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;
use targets::{TARGETS, Target};

static CHOSEN: OnceLock<&Target> = OnceLock::new();

fn choose() {
    let name = std::env::var("TINTWELL_TARGET").expect("TINTWELL_TARGET names the target");
    let target = TARGETS.iter().find(|target| target.name == name).expect("a known target");
    if let Ok(folder) = std::env::var("TINTWELL_SEEDS") {
        std::fs::create_dir_all(&folder).expect("a folder for the seeds");
        for (index, seed) in (target.seeds)().iter().enumerate() {
            std::fs::write(Path::new(&folder).join(format!("seed-{index}")), seed).expect("a seed");
        }
    }
    CHOSEN.set(target).unwrap_or_default();
}

fuzz_target!(init: choose(), |bytes: &[u8]| {
    if let Some(target) = CHOSEN.get() {
        (target.run)(bytes);
    }
});
