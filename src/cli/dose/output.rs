//! A reckoned sheet: named amounts, notes and cautions, for people or programs.

use anyhow::Result;
use serde_json::{Map, Value, json};

use crate::math::digits::significant;

/// Significant digits of an amount that is weighed or poured at home.
const DIGITS: i32 = 3;

/// What was reckoned.
#[derive(Debug, Default)]
pub struct Sheet {
    title: String,
    amounts: Vec<(&'static str, f64, &'static str, String)>,
    notes: Vec<String>,
    cautions: Vec<&'static str>,
}

impl Sheet {
    /// An empty sheet with a heading.
    pub fn new(title: impl Into<String>) -> Self {
        Self { title: title.into(), ..Self::default() }
    }

    /// Adds an amount: the key for programs, the value with its unit, and what it is in words.
    pub fn amount(&mut self, key: &'static str, value: f64, unit: &'static str, what: impl Into<String>) {
        self.amounts.push((key, value, unit, what.into()));
    }

    /// Adds a remark.
    pub fn note(&mut self, note: impl Into<String>) {
        self.notes.push(note.into());
    }

    /// Adds a caution.
    pub fn caution(&mut self, caution: &'static str) {
        self.cautions.push(caution);
    }

    /// Prints the sheet: words, or one JSON object.
    pub fn print(&self, as_json: bool) -> Result<()> {
        if as_json {
            let mut object = Map::new();
            for (key, value, _, _) in &self.amounts {
                object.insert((*key).to_owned(), json!(significant(*value, DIGITS)));
            }
            object.insert("notes".to_owned(), json!(self.notes));
            object.insert("cautions".to_owned(), json!(self.cautions));
            println!("{}", serde_json::to_string(&Value::Object(object))?);
            return Ok(());
        }
        println!("{}", self.title);
        for (_, value, unit, what) in &self.amounts {
            println!("  {} {unit}  {what}", significant(*value, DIGITS));
        }
        self.notes.iter().for_each(|note| println!("- {note}"));
        self.cautions.iter().for_each(|caution| println!("Caution: {caution}"));
        Ok(())
    }
}
