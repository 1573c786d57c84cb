//! Any netCDF-3 bytes: header and values: a trace of finite numbers, a peak table, or an error that names the file.
#![no_main]
mod limits;
use libfuzzer_sys::fuzz_target;
use vialbook::read::{ReadOptions, Table, TimeUnit, read_bytes, read_peak_table_bytes};

fuzz_target!(|data: &[u8]| {
    limits::within(data.len(), || {
        let head: &[u8] = if data.first().is_some_and(|b| b % 2 == 0) { b"CDF\x01" } else { b"CDF\x02" };
        let whole = [head, data.get(4..).unwrap_or_default()].concat();
        let data = whole.as_slice();
        let options = ReadOptions { time_unit: Some(TimeUnit::Seconds), ..ReadOptions::default() };
        match read_bytes("fuzz", data, &options) {
            Ok(run) => assert!(run.trace.signal().iter().chain(run.trace.time_min()).all(|v| v.is_finite())),
            Err(e) => assert!(e.to_string().starts_with("fuzz")),
        }
        let _ = read_peak_table_bytes("fuzz", data, &options);
        let _ = Table::from_bytes("fuzz", data);
    });
});
