//! Amounts, their budgets, findings, results as a whole.

use super::{Rows, Tabular, joined, table};
use crate::quantify::{Amount, BudgetLine};
use crate::results::{AmountResult, BudgetEntry, Finding, Results};
use crate::study::{Analysis, budget_entry};
use crate::table::{Rounding, Table};

/// The amounts.
impl Tabular for Results {
    fn table(&self) -> Table {
        let mut table = self.amounts.table();
        table.caption = format!("Amounts: {}", self.study.title);
        table
    }
}

/// The amounts.
impl Tabular for Analysis {
    fn table(&self) -> Table {
        self.results().table()
    }
}

impl Tabular for [AmountResult] {
    fn table(&self) -> Table {
        let rows = Rows(self);
        let unit = super::common(self.iter().map(|a| a.unit.as_str()));
        let [value, u] = rows.measured("value", unit, |a| Some(a.value), |a| a.u);
        // Ends of an interval are rounded as the value is.
        let by_u = || Rounding::ByUncertainty(self.iter().map(|a| a.u).collect());
        let mut columns = vec![
            rows.text("sample", |a| Some(a.sample.clone())),
            rows.text("kind", |a| Some(a.kind.clone())).as_detail(),
            rows.text("compound", |a| Some(a.compound.clone())),
            rows.text("quantity", |a| Some(a.quantity.clone())),
            rows.text("of", |a| Some(a.of.clone())).as_detail(),
            value,
            u.named("u").headed("u"),
            rows.number("dof", "", |a| a.dof)
                .headed("degrees of freedom")
                .rounded(Rounding::Significant(2))
                .as_detail(),
            rows.number("coverage_probability", "", |a| Some(a.coverage_probability)).as_detail(),
            rows.number("low", unit, |a| a.interval[0]).headed("from").rounded(by_u()),
            rows.number("high", unit, |a| a.interval[1]).headed("to").rounded(by_u()),
        ];
        let mut units = rows.text("unit", |a| Some(a.unit.clone()));
        units.detail = !unit.is_empty() || self.is_empty();
        columns.push(units);
        columns.extend([
            rows.number("n_preparations", "", |a| Some(a.n_preparations as f64)).headed("flasks"),
            rows.number("n_injections", "", |a| Some(a.n_injections as f64)).headed("shots"),
            rows.flag("detected", |a| Some(a.detected)),
            rows.number("critical_value", unit, |a| a.critical_value).as_detail(),
            rows.number("detection_limit", unit, |a| a.detection_limit)
                .headed("detection limit")
                .rounded(Rounding::Significant(2)),
            rows.number("in_flask", "", |a| a.in_flask).as_detail(),
            rows.number("dilution_applied", "", |a| Some(a.dilution_applied)).as_detail(),
            rows.number("expected", unit, |a| a.expected).as_detail(),
            rows.number("recovery_percent", "%", |a| a.recovery_percent)
                .headed("recovery")
                .rounded(Rounding::Decimals(1)),
            rows.text("text", |a| Some(a.text.clone())).as_detail(),
            rows.text("notes", |a| joined(&a.notes)).as_detail(),
        ]);
        table("Amounts", columns)
    }
}

impl Tabular for AmountResult {
    fn table(&self) -> Table {
        std::slice::from_ref(self).table()
    }
}

impl Tabular for Amount {
    fn table(&self) -> Table {
        let rows = Rows(std::slice::from_ref(self));
        let [value, u] = rows.measured("value", &self.unit, |a| Some(a.value), |a| a.u);
        let end = |name: &str, heading: &str, i: usize| {
            rows.number(name, &self.unit, move |a| a.interval[i])
                .headed(heading)
                .rounded(Rounding::ByUncertainty(vec![self.u]))
        };
        table(
            self.of.clone(),
            vec![
                rows.text("sample", |a| Some(a.sample.clone())),
                rows.text("compound", |a| Some(a.compound.clone())),
                rows.text("quantity", |a| Some(a.quantity.words().to_owned())),
                value,
                u.named("u").headed("u"),
                rows.number("dof", "", |a| a.dof).headed("degrees of freedom").rounded(Rounding::Significant(2)),
                rows.number("coverage_probability", "", |a| Some(a.coverage_probability)).as_detail(),
                end("low", "from", 0),
                end("high", "to", 1),
                rows.number("n_preparations", "", |a| Some(a.n_preparations as f64)).headed("flasks"),
                rows.number("n_injections", "", |a| Some(a.n_injections as f64)).headed("shots"),
                rows.flag("detected", |a| Some(a.detected)),
                rows.number("detection_limit", &self.unit, |a| a.detection_limit)
                    .headed("detection limit")
                    .rounded(Rounding::Significant(2)),
                rows.text("text", |a| Some(a.text())).as_detail(),
                rows.text("notes", |a| joined(&a.notes)).as_detail(),
            ],
        )
    }
}

impl Tabular for [BudgetEntry] {
    fn table(&self) -> Table {
        let rows = Rows(self);
        table(
            "Uncertainty budget",
            vec![
                rows.text("source", |b| Some(b.source.clone())),
                rows.text("scope", |b| Some(b.scope.clone())),
                rows.text("evaluation", |b| Some(b.evaluation.clone())),
                rows.number("contribution", "", |b| Some(b.contribution)).headed("u").rounded(Rounding::Significant(2)),
                rows.number("share_percent", "%", |b| Some(100.0 * b.share))
                    .headed("share of the variance")
                    .rounded(Rounding::Decimals(1)),
                rows.number("dof", "", |b| b.dof).headed("degrees of freedom").rounded(Rounding::Significant(2)),
            ],
        )
    }
}

impl Tabular for [BudgetLine] {
    fn table(&self) -> Table {
        let entries: Vec<BudgetEntry> = self.iter().map(budget_entry).collect();
        entries.table()
    }
}

impl Tabular for [Finding] {
    fn table(&self) -> Table {
        let rows = Rows(self);
        table(
            "Findings",
            vec![
                rows.text("severity", |f| Some(f.severity.word().to_owned())).headed("verdict"),
                rows.text("what", |f| Some(f.what.clone())).headed("what was checked"),
                rows.text("where", |f| Some(f.place.clone())),
                rows.number("figure", "", |f| f.figure).headed("seen").rounded(Rounding::Significant(3)),
                rows.number("limit", "", |f| f.limit).rounded(Rounding::Significant(3)),
                rows.text("origin", |f| Some(f.origin.clone())).as_detail(),
                rows.text("why", |f| Some(f.why.clone())),
                rows.text("next", |f| f.next.clone()).headed("what to do"),
            ],
        )
    }
}

impl Tabular for Finding {
    fn table(&self) -> Table {
        std::slice::from_ref(self).table()
    }
}
