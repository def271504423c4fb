//! Everything that is tested from outside the crate, through the binary or the library, in one program: linked
//! once, and small on the disk.

mod browser;
mod support;

mod abused_photos;
mod assess_command;
mod assess_fishless;
mod assess_histories;
mod assess_long_logs;
mod assess_poor_logs;
mod assess_properties;
mod assess_stocked;
mod assess_what_if;
mod assess_words;
mod card_command;
mod colour_standards;
mod damaged_photos;
mod dependencies;
mod dose_command;
mod forecast_coverage;
mod forecast_kinetics;
mod four_windows;
mod four_windows_strips;
mod import_photos;
mod import_tables;
mod import_watch;
mod invariants;
mod kit_drift;
mod layering;
mod leaflet;
mod log_commands;
mod log_query;
mod log_safety;
mod log_survives_kill;
mod no_network;
mod output_safety;
mod page_and_demo;
mod page_in_browser;
mod print_scales;
mod promises;
mod provisional_charts;
mod read_photos;
mod slips;
mod standards_command;
mod strip_readings;
mod strip_troubles;
