//! What is held of a strip's readings after something was done to one of its pads.

use serde_json::Value;

/// The value lies within the interval that the strip as rendered gave: what was done to it changes
/// neither its dyes nor the light.
pub fn agrees(before: &Value, after: &Value, what: &str) {
    assert_eq!(after["status"], before["status"], "{what}: {before} became {after}");
    let number = |line: &Value, name: &str| line[name].as_f64().unwrap();
    let (low, high) = (number(before, "low"), number(before, "high"));
    assert!((low..=high).contains(&number(after, "value")), "{what}: {before} became {after}");
}

/// One pad is refused for this reason, and the others read as before.
pub fn only_this_pad_is_refused(before: &[Value], after: &[Value], pad: usize, reason: &str) {
    for (k, (before, after)) in before.iter().zip(after).enumerate() {
        if k == pad {
            assert_eq!(after["status"], "refused", "{after}");
            assert!(after["reason"].as_str().unwrap().contains(reason), "{after}");
        } else {
            agrees(before, after, &format!("beside pad {pad}"));
        }
    }
}
