//! Peaks, named or not.

use super::{Rows, Tabular, joined, table};
use crate::identify::{NamedPeak, NamedPeaks};
use crate::peaks::{Peak, PeakList};
use crate::results::{PeakResult, Results};
use crate::table::{Column, Rounding, Table};
use crate::units::area_unit;

impl Tabular for PeakList {
    fn table(&self) -> Table {
        let of = if self.run.is_empty() { String::new() } else { format!(" of {}", self.run) };
        table(format!("Peaks{of}"), columns(&self.peaks, &self.signal_unit))
    }
}

/// A peak alone does not know its signal's unit.
impl Tabular for Peak {
    fn table(&self) -> Table {
        table("One peak", columns(std::slice::from_ref(self), ""))
    }
}

impl Tabular for [Peak] {
    fn table(&self) -> Table {
        table("Peaks", columns(self, ""))
    }
}

impl Tabular for NamedPeaks {
    fn table(&self) -> Table {
        let of = if self.run.is_empty() { String::new() } else { format!(" of {}", self.run) };
        let mut table = self.peaks.table();
        table.caption = format!("Named peaks{of}");
        if !self.missing.is_empty() {
            table.notes.push(format!("without a peak: {}", self.missing.join(", ")));
        }
        table.notes.extend(self.notes.iter().map(ToString::to_string));
        table
    }
}

impl Tabular for [NamedPeak] {
    fn table(&self) -> Table {
        let rows = Rows(self);
        let mut all = vec![
            rows.text("compound", |p| p.compound.clone()),
            dressed(rows.number("identity_probability", "", |p| p.identity_probability)),
        ];
        let peaks: Vec<Peak> = self.iter().map(|p| p.peak.clone()).collect();
        all.extend(columns(&peaks, ""));
        all.push(rows.text("evidence", |p| Some(p.evidence.clone())).as_detail());
        table("Named peaks", all)
    }
}

impl Tabular for NamedPeak {
    fn table(&self) -> Table {
        std::slice::from_ref(self).table()
    }
}

/// With the heading and the digits that this figure has in every table of peaks.
fn dressed(column: Column) -> Column {
    let (heading, rounding) = match column.name.as_str() {
        "identity_probability" => ("probability of the name", Rounding::Decimals(3)),
        "retention_time_min" => ("retention time", Rounding::Decimals(3)),
        "start_min" => ("start", Rounding::Plain),
        "end_min" => ("end", Rounding::Plain),
        "height" => ("height", Rounding::Significant(4)),
        "width_half_min" => ("width at half height", Rounding::Decimals(4)),
        "plates_half_height" => ("plate number", Rounding::Significant(3)),
        "tailing_factor_5pct" => ("tailing factor", Rounding::Decimals(2)),
        "asymmetry_10pct" => ("asymmetry", Rounding::Decimals(2)),
        "resolution_half_height" => ("resolution", Rounding::Decimals(1)),
        "signal_to_noise" => ("signal to noise", Rounding::Significant(3)),
        _ => return column,
    };
    column.headed(heading).rounded(rounding)
}

fn columns(peaks: &[Peak], signal_unit: &str) -> Vec<Column> {
    let rows = Rows(peaks);
    let [area, area_u] = rows.measured("area", &area_unit(signal_unit), |p| Some(p.area), |p| Some(p.area_u));
    // A window in which nothing rose has no apex: its middle is no retention time.
    let apex = |p: &Peak| p.method != crate::peaks::Integration::ForcedWindow;
    vec![
        dressed(rows.number("retention_time_min", "min", move |p| apex(p).then_some(p.retention_time_min))),
        rows.number("retention_time_u_min", "min", |p| p.retention_time_u_min).headed("u(retention time)").as_detail(),
        dressed(rows.number("start_min", "min", |p| Some(p.start_min))).as_detail(),
        dressed(rows.number("end_min", "min", |p| Some(p.end_min))).as_detail(),
        area,
        area_u,
        dressed(rows.number("height", signal_unit, move |p| apex(p).then_some(p.height))),
        dressed(rows.number("width_half_min", "min", |p| p.width_half_min)),
        dressed(rows.number("plates_half_height", "", |p| p.plates_half_height)),
        dressed(rows.number("tailing_factor_5pct", "", |p| p.tailing_factor_5pct)),
        dressed(rows.number("asymmetry_10pct", "", |p| p.asymmetry_10pct)).as_detail(),
        dressed(rows.number("resolution_half_height", "", |p| p.resolution_half_height)),
        dressed(rows.number("signal_to_noise", "", |p| Some(p.signal_to_noise))),
        rows.text("method", |p| Some(p.method.words().to_owned())),
        rows.text("notes", |p| joined(&p.notes)),
    ]
}

impl Tabular for [PeakResult] {
    fn table(&self) -> Table {
        table("Peaks", result_columns(self, ""))
    }
}

impl Tabular for PeakResult {
    fn table(&self) -> Table {
        std::slice::from_ref(self).table()
    }
}

impl Results {
    /// All peaks of all runs as a table, with the runs' unit.
    pub fn peak_table(&self) -> Table {
        let unit = super::common(self.runs.iter().map(|r| r.signal_unit.as_str()));
        table(format!("Peaks of {}", self.study.title), result_columns(&self.peaks, unit))
    }
}

fn result_columns(peaks: &[PeakResult], signal_unit: &str) -> Vec<Column> {
    let rows = Rows(peaks);
    let [area, area_u] = rows.measured("area", &area_unit(signal_unit), |p| Some(p.area), |p| Some(p.area_u));
    vec![
        rows.text("run", |p| Some(p.run.clone())),
        rows.text("compound", |p| p.compound.clone()),
        dressed(rows.number("identity_probability", "", |p| p.identity_probability)),
        dressed(rows.number("retention_time_min", "min", |p| p.retention_time_min)),
        dressed(rows.number("start_min", "min", |p| Some(p.start_min))).as_detail(),
        dressed(rows.number("end_min", "min", |p| Some(p.end_min))).as_detail(),
        area,
        area_u,
        dressed(rows.number("height", signal_unit, |p| p.height)),
        dressed(rows.number("width_half_min", "min", |p| p.width_half_min)),
        dressed(rows.number("plates_half_height", "", |p| p.plates_half_height)).as_detail(),
        dressed(rows.number("tailing_factor_5pct", "", |p| p.tailing_factor_5pct)),
        dressed(rows.number("asymmetry_10pct", "", |p| p.asymmetry_10pct)).as_detail(),
        dressed(rows.number("resolution_half_height", "", |p| p.resolution_half_height)),
        dressed(rows.number("signal_to_noise", "", |p| p.signal_to_noise)),
        rows.text("method", |p| Some(p.method.clone())),
        rows.number("baseline_start", signal_unit, |p| Some(p.baseline[0])).as_detail(),
        rows.number("baseline_end", signal_unit, |p| Some(p.baseline[1])).as_detail(),
        rows.text("notes", |p| joined(&p.notes)).as_detail(),
    ]
}
