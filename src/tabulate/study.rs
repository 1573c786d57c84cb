//! What was injected and recorded: studies, runs, traces, what the reader saw.

use super::{Rows, Tabular, facts, joined, table};
use crate::estimate::significant;
use crate::results::RunResult;
use crate::study::{Injection, Study};
use crate::table::{Column, Rounding, Table};
use crate::trace::{ReadingNote, Run, Trace};

impl Tabular for Study {
    fn table(&self) -> Table {
        let pairs: Vec<(&Injection, &Run)> = self.injections().iter().zip(self.runs()).collect();
        let rows = Rows(&pairs);
        let mut columns = vec![
            rows.text("run", |p| Some(p.0.run.clone())),
            rows.text("kind", |p| Some(p.0.kind.word().replace('_', " "))),
            rows.text("sample", |p| Some(p.0.sample.clone())),
            rows.text("preparation", |p| p.0.preparation.clone()),
            rows.text("replicate", |p| p.0.replicate.clone()),
        ];
        for compound in &self.config().compounds {
            let name = compound.name.as_str();
            let known = || pairs.iter().filter_map(|p| p.0.content(name));
            if known().next().is_some() {
                let unit = super::common(known().map(|c| c.unit.symbol));
                columns.push(rows.number(name, unit, |p| p.0.content(name).map(|c| c.value)));
            }
        }
        columns.extend([
            rows.number("dilution", "", |p| p.0.dilution).as_detail(),
            rows.text("file", |p| Some(p.0.file.clone())),
            rows.number("points", "", |p| Some(p.1.trace.len() as f64)),
            rows.number("length_min", "min", |p| p.1.trace.time_min().last().copied())
                .headed("until")
                .rounded(Rounding::Decimals(2)),
            rows.flag("accepted", |p| Some(p.0.accepted)),
            rows.text("reason", |p| p.0.reason.clone()).as_detail(),
            rows.text("noticed", |p| {
                let reason = p.0.reason.iter().map(|r| format!("not used: {r}"));
                joined(&reason.chain(p.1.provenance.reading.suspicions.iter().cloned()).collect::<Vec<_>>())
            }),
        ]);
        let mut table = table(self.config().title.clone(), columns);
        if self.config().simulated {
            table.notes.push("the runs are simulated".to_owned());
        }
        table
    }
}

impl Tabular for Run {
    fn table(&self) -> Table {
        let mut table = self.trace.table();
        table.caption = self.name.clone();
        table
    }
}

impl Tabular for Trace {
    fn table(&self) -> Table {
        table(
            "Trace",
            vec![
                Column::numbers("time_min", "min", self.time_min().iter().copied()).headed("time"),
                Column::numbers("signal", self.signal_unit(), self.signal().iter().copied()),
            ],
        )
        .show_rows(15)
    }
}

impl Tabular for [RunResult] {
    fn table(&self) -> Table {
        let rows = Rows(self);
        table(
            "Runs",
            vec![
                rows.text("run", |r| Some(r.run.clone())),
                rows.text("file", |r| Some(r.file.clone())).as_detail(),
                rows.text("sha256", |r| Some(r.sha256.clone())).as_detail(),
                rows.text("kind", |r| Some(r.kind.clone())),
                rows.text("sample", |r| Some(r.sample.clone())),
                rows.text("preparation", |r| r.preparation.clone()),
                rows.text("replicate", |r| r.replicate.clone()),
                rows.text("time", |r| r.time.clone()).as_detail(),
                rows.flag("accepted", |r| Some(r.accepted)),
                rows.text("reason", |r| r.reason.clone()),
                rows.number("start_offset_s", "s", |r| r.start_offset_s)
                    .headed("start offset")
                    .rounded(Rounding::Decimals(1)),
                rows.number("noise_sd", super::common(self.iter().map(|r| r.signal_unit.as_str())), |r| r.noise_sd)
                    .headed("noise")
                    .rounded(Rounding::Significant(2)),
                rows.text("signal_unit", |r| Some(r.signal_unit.clone())).as_detail(),
                rows.text("notes", |r| joined(&r.notes)),
            ],
        )
    }
}

impl Tabular for RunResult {
    fn table(&self) -> Table {
        std::slice::from_ref(self).table()
    }
}

impl Tabular for ReadingNote {
    fn table(&self) -> Table {
        let mut rows = vec![
            ("format", self.format.clone()),
            ("encoding", self.encoding.clone()),
            ("delimiter", self.delimiter.clone()),
            ("decimal mark", self.decimal_mark.clone()),
            ("lines before the numbers", self.header_rows.to_string()),
            ("time column", self.time_column.clone()),
            ("time unit", self.time_unit.clone()),
            ("signal column", self.signal_column.clone()),
            ("signal unit", self.signal_unit.clone()),
            ("times", self.time_axis.clone()),
            ("trace", self.trace.clone()),
            ("points", self.points.to_string()),
            ("mean interval", format!("{} s", significant(self.interval_s, 4))),
            ("largest deviation of an interval", format!("{} s", significant(self.interval_spread_s, 2))),
            ("gaps", self.gaps.to_string()),
        ];
        rows.extend(self.dropped.iter().map(|d| ("passed over", d.clone())));
        rows.extend(self.suspicions.iter().map(|s| ("looks odd", s.clone())));
        rows.retain(|r| !r.1.is_empty());
        facts("How the file was read", rows)
    }
}
