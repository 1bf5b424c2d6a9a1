//! Everything that is held end to end, against real parts and reference libraries, in one program: linking the daemon
//! once takes a minute less than linking it for each of them, and tests that wait do so side by side.
//!
//! `cargo test --release -p claymark-tests --test all store_lost` runs one of the files.

mod clay_oracle;
mod clock_set;
mod contracts;
mod demo;
mod deploy;
mod device_clock;
mod disk_sync;
mod drum_oracle;
mod first_watch;
mod forecast_calibration;
mod forecast_nights;
mod handbooks;
mod hostile_hour;
mod influx_command;
mod influx_forward;
mod intake_crash;
mod intake_garbage;
mod intake_rival;
mod intake_session;
mod never_silent;
mod notice_lost;
mod one_builder;
mod oxygen_oracle;
mod poison;
mod quality_oracle;
mod reach;
mod replies;
mod report_always;
mod report_from_influx;
mod river_oxygen;
mod river_quality;
mod river_week;
mod score_oracle;
mod seasons;
mod service;
mod settling_oracle;
mod sources;
mod stock_oracle;
mod store_lost;
mod stories;
mod story_ends;
mod story_limits;
mod story_plan;
mod story_rows;
mod story_traps;
mod story_two;
mod structure;
mod trend_oracle;
mod units_oracle;
mod week_oracle;
mod writes;
