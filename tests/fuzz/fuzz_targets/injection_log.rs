//! Any bytes as an injection log: injections or an error that names the file.
#![no_main]
mod limits;
use libfuzzer_sys::fuzz_target;
use vialbook::study::read_log_bytes;

fuzz_target!(|data: &[u8]| {
    // A workbook is packed about tenfold.
    limits::within(10 * data.len(), || {
        if let Err(e) = read_log_bytes("fuzz", data, &["2-propanol".to_owned(), "octane".to_owned()]) {
            assert!(e.to_string().starts_with("fuzz"));
        }
    });
});
