//! Any bytes as a trace file: a trace of finite numbers or an error that names the file.
#![no_main]
mod limits;
use libfuzzer_sys::fuzz_target;
use vialbook::read::{ReadOptions, TimeUnit, read_bytes};

fuzz_target!(|data: &[u8]| {
    limits::within(data.len(), || {
        for time_unit in [None, Some(TimeUnit::Seconds)] {
            match read_bytes("fuzz", data, &ReadOptions { time_unit, ..ReadOptions::default() }) {
                Ok(run) => assert!(run.trace.signal().iter().chain(run.trace.time_min()).all(|v| v.is_finite())),
                Err(e) => assert!(e.to_string().starts_with("fuzz")),
            }
        }
    });
});
