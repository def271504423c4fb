//! All that reading a photo takes, in process.

use std::hint::black_box;

use tintwell::chart::Chart;
use tintwell::log::content_hash;
use tintwell::pipeline;
use tintwell::reading::Status;

/// All that `read` does with a photo's bytes.
pub fn read(jpeg: &[u8], chart: &Chart) {
    black_box(content_hash(jpeg));
    let view = pipeline::look(pipeline::open(jpeg).unwrap()).unwrap();
    let sightings = pipeline::read_window(&view, view.card.layout.windows[0], chart);
    assert_eq!(sightings[0].status, Status::Read, "{:?}", sightings[0].reason);
}
