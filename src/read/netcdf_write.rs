//! A run as ASTM E1947 netCDF-3, classic format: what is written reads back bit for bit.

use std::io::Write;
use std::path::Path;

use super::netcdf_trace::OWN_TIMES;
use crate::error::{Error, ErrorKind, Result};
use crate::trace::Run;

const DOUBLE: u32 = 6;
const CHAR: u32 = 2;

/// Writes a run's trace with its metadata; the file is there whole or not at all.
///
/// Signal and times are stored as 8-byte numbers, so that [`read_run`](super::read_run) gives the same bits. Times are
/// delay and interval in seconds where these reproduce every time exactly; otherwise `raw_data_retention` lists them in
/// seconds for other programs, and a variable of our own, `vialbook_time_min`, to the last bit for this one.
///
/// # Errors
/// The file cannot be written; the trace is too large for the classic format (2 GiB).
pub fn write_netcdf(run: &Run, path: impl AsRef<Path>) -> Result<()> {
    let path = path.as_ref();
    let bytes = netcdf_bytes(run).map_err(|e| e.in_file(path))?;
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut file = tempfile::NamedTempFile::new_in(folder).map_err(|e| Error::io("write", path, e))?;
    file.write_all(&bytes).and_then(|()| file.as_file().sync_all()).map_err(|e| Error::io("write", path, e))?;
    file.persist(path).map_err(|e| Error::io("rename", path, e.error))?;
    Ok(())
}

/// The bytes that [`write_netcdf`] writes.
///
/// # Errors
/// A trace too large for the classic format.
pub fn netcdf_bytes(run: &Run) -> Result<Vec<u8>> {
    let trace = &run.trace;
    let (time, signal) = (trace.time_min(), trace.signal());
    if signal.len() > (1 << 31) / 32 {
        return Err(Error::new(ErrorKind::Data, format!("{} points are too many for classic netCDF", signal.len())));
    }
    let (start_s, step_s) = (time[0] * 60.0, trace.interval_min() * 60.0);
    // The reader's own formula; two candidates for the step: the mean, and the mean to 9 digits.
    let nine: f64 = format!("{step_s:.8e}").parse().unwrap_or(step_s);
    let start_nine: f64 = format!("{start_s:.8e}").parse().unwrap_or(start_s);
    let exact = [(start_s, step_s), (start_nine, nine), (start_s, nine)].into_iter().find(|(start, step)| {
        time.iter().enumerate().all(|(i, t)| ((start + i as f64 * step) / 60.0).to_bits() == t.to_bits())
    });
    let (start_s, step_s) = exact.unwrap_or((start_s, step_s));
    let even = time.windows(2).all(|w| ((w[1] - w[0]) * 60.0 - step_s).abs() <= 1e-6 * step_s);

    let reading = &run.provenance.reading;
    let mut attributes: Vec<(&str, &str)> = vec![
        ("dataset_completeness", "C1"),
        ("aia_template_revision", "1.0"),
        ("netcdf_revision", "2.3"),
        ("languages", "English"),
        ("separation_experiment_type", "gas chromatography"),
        ("experiment_title", &run.name),
        ("sample_name", &run.name),
        ("detector_unit", trace.signal_unit()),
        ("retention_unit", "seconds"),
    ];
    let source = run.provenance.file.to_string_lossy();
    attributes.extend([("source_file_reference", source.as_ref()), ("source_file_sha256", &run.provenance.sha256)]);
    attributes.push(("source_file_format", &reading.format));

    let mut variables: Vec<(&str, bool, Vec<f64>)> = Vec::new();
    if let Some(full_scale) = trace.full_scale() {
        variables.push(("detector_maximum_value", false, vec![full_scale]));
    }
    variables.push(("actual_run_time_length", false, vec![step_s * signal.len() as f64]));
    variables.push(("actual_sampling_interval", false, vec![step_s]));
    variables.push(("actual_delay_time", false, vec![start_s]));
    variables.push(("ordinate_values", true, signal.to_vec()));
    if exact.is_none() {
        variables.push(("raw_data_retention", true, time.iter().map(|t| t * 60.0).collect()));
        variables.push((OWN_TIMES, true, time.to_vec()));
    }

    // The header is written twice: its length, which the variables' places need, does not depend on them.
    let length = header(&attributes, &variables, even, signal.len(), 0).len();
    let mut out = header(&attributes, &variables, even, signal.len(), length);
    for (_, _, values) in &variables {
        out.extend(values.iter().flat_map(|v| v.to_be_bytes()));
    }
    Ok(out)
}

fn header(
    attributes: &[(&str, &str)],
    variables: &[(&str, bool, Vec<f64>)],
    even: bool,
    points: usize,
    begin: usize,
) -> Vec<u8> {
    let mut out = b"CDF\x01".to_vec();
    let word = |out: &mut Vec<u8>, w: usize| out.extend((w as u32).to_be_bytes());
    let bytes = |out: &mut Vec<u8>, text: &[u8]| {
        word(out, text.len());
        out.extend(text);
        out.resize(out.len().next_multiple_of(4), 0);
    };
    let texts = |out: &mut Vec<u8>, list: &[(&str, &str)]| {
        // An absent list is written as two zeros.
        out.extend(if list.is_empty() { 0u32 } else { 12 }.to_be_bytes());
        word(out, list.len());
        for (name, text) in list {
            bytes(out, name.as_bytes());
            word(out, CHAR as usize);
            bytes(out, text.as_bytes());
        }
    };
    word(&mut out, 0);
    out.extend(10u32.to_be_bytes());
    word(&mut out, 1);
    bytes(&mut out, b"point_number");
    word(&mut out, points);
    texts(&mut out, attributes);
    out.extend(11u32.to_be_bytes());
    word(&mut out, variables.len());
    let mut at = begin;
    for (name, many, values) in variables {
        bytes(&mut out, name.as_bytes());
        word(&mut out, usize::from(*many));
        if *many {
            word(&mut out, 0);
        }
        let flag = [("uniform_sampling_flag", if even { "Y" } else { "N" })];
        texts(&mut out, if *name == "ordinate_values" { &flag } else { &[] });
        word(&mut out, DOUBLE as usize);
        word(&mut out, values.len() * 8);
        word(&mut out, at);
        at += values.len() * 8;
    }
    out
}
