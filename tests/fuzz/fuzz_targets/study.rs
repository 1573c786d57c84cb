//! Any text as a study.toml: a configuration or an error.
#![no_main]
mod limits;
use libfuzzer_sys::fuzz_target;
use vialbook::StudyConfig;

fuzz_target!(|data: &[u8]| {
    limits::within(data.len(), || {
        if let Ok(text) = std::str::from_utf8(data) {
            if let Ok(config) = StudyConfig::parse(text) {
                let _ = config.check();
            }
        }
    });
});
