//! Any bytes of a workbook: a trace of finite numbers, a peak table, or an error that names the file.
#![no_main]
mod limits;
use libfuzzer_sys::fuzz_target;
use vialbook::read::{ReadOptions, Table, TimeUnit, read_bytes, read_peak_table_bytes};

fuzz_target!(|data: &[u8]| {
    // A workbook is packed about tenfold.
    limits::within(10 * data.len(), || {
        let options = ReadOptions { time_unit: Some(TimeUnit::Seconds), ..ReadOptions::default() };
        match read_bytes("fuzz", data, &options) {
            Ok(run) => assert!(run.trace.signal().iter().chain(run.trace.time_min()).all(|v| v.is_finite())),
            Err(e) => assert!(e.to_string().starts_with("fuzz")),
        }
        let _ = read_peak_table_bytes("fuzz", data, &options);
        let _ = Table::from_bytes("fuzz", data);
    });
});
