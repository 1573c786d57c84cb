//! Contradictions in study.toml: what can be known without opening any other file.

use super::{ModelChoice, QuantifyBy, Role, StudyConfig, UsedIn};
use crate::error::{Error, ErrorKind, Result};

impl StudyConfig {
    /// Looks for contradictions: what can be known without opening any other file.
    ///
    /// # Errors
    /// The first contradiction, naming the field.
    pub fn check(&self) -> Result<()> {
        let wrong = |field: String, message: String| Err(Error::new(ErrorKind::Study, message).at_field(field));
        if self.title.trim().is_empty() {
            return wrong("title".into(), "the title is empty; a study needs one".into());
        }
        for (i, c) in self.compounds.iter().enumerate() {
            let field = |f: &str| format!("compound[{}].{f}", i + 1);
            if self.compounds[..i].iter().any(|o| o.name == c.name) {
                return wrong(field("name"), format!("the compound \"{}\" is listed twice", c.name));
            }
            if self.compounds[..i].iter().any(|o| o.name.eq_ignore_ascii_case(&c.name)) {
                return wrong(field("name"), format!("\"{}\" differs from another compound by case only", c.name));
            }
            if let Some(r) = c.retention_min.filter(|r| !(r.is_finite() && *r > 0.0)) {
                return wrong(field("retention_min"), format!("{r} is no retention time; minutes above 0 are wanted"));
            }
            if let Some(w) = c.window_min.filter(|w| !(w.is_finite() && *w > 0.0)) {
                return wrong(field("window_min"), format!("{w} is no window; minutes above 0 are wanted"));
            }
            if let Some([a, b]) = c.integrate_min.filter(|[a, b]| !(a.is_finite() && b.is_finite() && a < b)) {
                return wrong(
                    field("integrate_min"),
                    format!("[{a}, {b}] is no window; [start, end] in minutes is wanted"),
                );
            }
            if let Some(t) = c.boiling_point_c.filter(|t| !(t.is_finite() && *t > -273.15)) {
                return wrong(field("boiling_point_C"), format!("{t} is no boiling point in °C"));
            }
            for (name, value) in [
                ("response_factor", c.response_factor),
                ("response_factor_relative_u", c.response_factor_relative_u),
                ("molar_mass_g_mol", c.molar_mass_g_mol),
            ] {
                if let Some(v) = value.filter(|v| !(v.is_finite() && *v > 0.0)) {
                    return wrong(field(name), format!("{v} makes no sense here; a number above 0 is wanted"));
                }
            }
            if c.response_factor.is_some() && c.carbon_groups.is_some() {
                return wrong(
                    field("carbon_groups"),
                    "a response factor and groups to count one from; one is wanted".into(),
                );
            }
            if c.carbon_groups.is_some() && !self.detector.kind.as_deref().is_some_and(is_flame) {
                return Err(Error::new(ErrorKind::Study, "effective carbon numbers hold for flame ionisation only")
                    .at_field(field("carbon_groups"))
                    .hint(
                        "under [detector], kind = \"flame ionisation\"; for another detector measure response_factor",
                    ));
            }
            if let Some(d) = c.density_g_ml.filter(|d| !(d.is_finite() && *d > 0.0)) {
                return wrong(field("density_g_mL"), format!("{d} is no density"));
            }
        }
        self.check_naming()?;
        self.limits.check()?;
        for (i, h) in self.history.iter().enumerate() {
            let field = format!("history[{}]", i + 1);
            self.known(&h.compound, &field)?;
            crate::check::ControlChart::individuals(&h.values).map_err(|e| e.at_field(field))?;
        }
        for (i, u) in self.unseen.iter().enumerate() {
            let good = u.mass_fraction.is_none_or(|w| (0.0..1.0).contains(&w)) && u.u >= 0.0 && u.u < 1.0;
            if !good {
                return wrong(
                    format!("unseen[{}]", i + 1),
                    format!(
                        "{} with u = {} is no mass fraction; 0.12 stands for 12 %",
                        u.mass_fraction.unwrap_or(f64::NAN),
                        u.u
                    ),
                );
            }
        }
        for (i, m) in self.methods.iter().enumerate() {
            let field = |f: &str| format!("method[{}].{f}", i + 1);
            if let Some(h) = m.hold_up_min.filter(|h| !(h.is_finite() && *h > 0.0)) {
                return wrong(field("hold_up_min"), format!("{h} is no hold-up time; minutes above 0 are wanted"));
            }
            if m.inlet_pressure_kpa.is_some() && m.pressure_is.is_none() {
                return Err(Error::new(
                    ErrorKind::Ambiguous,
                    "an inlet pressure that does not say whether it is gauge or absolute",
                )
                .at_field(field("pressure_is"))
                .hint("add pressure_is = \"gauge\" (above the room's pressure) or \"absolute\""));
            }
            if let Some(step) = m.oven.first().filter(|s| s.ramp_c_per_min.is_some()) {
                return wrong(
                    field("oven"),
                    format!(
                        "the first oven step ({} °C) has a ramp; it is the starting temperature",
                        step.temperature_c
                    ),
                );
            }
            if let Some(step) =
                m.oven.iter().skip(1).find(|s| s.ramp_c_per_min.is_none_or(|r| !(r.is_finite() && r > 0.0)))
            {
                return wrong(
                    field("oven"),
                    format!("the step to {} °C needs ramp_C_per_min above 0", step.temperature_c),
                );
            }
        }
        for (i, s) in self.solutions.iter().enumerate() {
            for (j, source) in s.sources.iter().enumerate() {
                let field = format!("solution[{}].source[{}]", i + 1, j + 1);
                if let Some(fault) = source.fault() {
                    return wrong(field, fault);
                }
                if !source.standards.is_empty() && s.used_in != UsedIn::Standards {
                    return wrong(
                        field,
                        format!("\"{}\" names standards, but the solution is not used in them", source.name),
                    );
                }
                for c in &source.compounds {
                    self.known(c, &field)?;
                }
            }
        }
        self.peaks.check()?;
        for (i, b) in self.peaks.by_hand.iter().enumerate() {
            self.known(&b.compound, &format!("peaks.by_hand[{}].compound", i + 1))?;
        }
        let q = &self.quantification;
        if !(q.level > 0.5 && q.level < 1.0) {
            return wrong(
                "quantification.level".into(),
                format!("{} is no level of confidence; 0.95 is usual", q.level),
            );
        }
        let numbers = [
            ("quantification.accepted_deviation_percent", Some(q.accepted_deviation_percent)),
            ("quantification.accepted_deviation_lowest_percent", q.accepted_deviation_lowest_percent),
            ("quantification.sample_density_g_mL", q.sample_density_g_ml),
            ("detector.step", self.detector.step),
            ("detector.full_scale", self.detector.full_scale),
            ("instrument.volume_min_uL", self.instrument.volume_min_ul),
            ("instrument.volume_max_uL", self.instrument.volume_max_ul),
        ];
        for (field, value) in numbers {
            if let Some(v) = value.filter(|v| !(v.is_finite() && *v > 0.0)) {
                return wrong(field.into(), format!("{v} makes no sense here; a number above 0 is wanted"));
            }
        }
        if let Some(n) = q.monte_carlo_trials.filter(|n| !(10_000..=100_000_000).contains(n)) {
            return wrong(
                "quantification.monte_carlo_trials".into(),
                format!("{n} trials; 10,000 to 100,000,000 are possible, 1000000 is usual"),
            );
        }
        match (q.by, &q.internal_standard) {
            (QuantifyBy::InternalStandard, None) => {
                return wrong("quantification.internal_standard".into(), "no internal standard is named".into());
            }
            (QuantifyBy::ExternalStandard | QuantifyBy::Normalisation, _) => {}
            (_, Some(name)) => {
                self.known(name, "quantification.internal_standard")?;
                if self.compound(name).is_some_and(|c| c.role != Role::InternalStandard) {
                    return Err(Error::new(
                        ErrorKind::Study,
                        format!("\"{name}\" is the internal standard, but its role is another"),
                    )
                    .at_field("compound.role")
                    .hint("give it role = \"internal_standard\""));
                }
            }
            _ => {}
        }
        if q.by == QuantifyBy::StandardAddition && q.model != ModelChoice::Line {
            return wrong(
                "quantification.model".into(),
                "standard addition takes a straight line with intercept; model = \"line\" is wanted".into(),
            );
        }
        for (i, c) in self.comparisons.iter().enumerate() {
            c.check(&format!("comparison[{}]", i + 1))?;
        }
        if let Some(d) = &self.decision {
            if !(d.probability > 0.5 && d.probability < 1.0) {
                return wrong(
                    "decision.probability".into(),
                    format!("{} is no probability to decide by", d.probability),
                );
            }
            for (i, limit) in d.limits.iter().enumerate() {
                let field = format!("decision.limit[{}]", i + 1);
                self.known(&limit.compound, &field)?;
                match (limit.low, limit.high) {
                    (None, None) => return wrong(field, "neither low nor high is stated".into()),
                    (Some(a), Some(b)) if a >= b => return wrong(field, format!("low {a} is not below high {b}")),
                    _ => {}
                }
            }
        }
        if let Some(p) = self.report.paper.as_deref().filter(|p| !["a4", "us-letter"].contains(p)) {
            return wrong(
                "report.paper".into(),
                format!("\"{p}\" is no paper known here; \"a4\" or \"us-letter\" is wanted"),
            );
        }
        Ok(())
    }

    /// Contradictions in what names rest on.
    fn check_naming(&self) -> Result<()> {
        let p = &self.peaks;
        let wrong = |field: &str, message: String| {
            Err(Error::new(ErrorKind::Study, message).at_field(format!("peaks.{field}")))
        };
        if let Some(v) = p.time_scale_limit_percent.filter(|v| !(0.0..=20.0).contains(v)) {
            return wrong("time_scale_limit_percent", format!("{v} % is no limit; 0 (no time scale) to 20 is wanted"));
        }
        if let Some(v) = p.least_probability.filter(|v| !(0.5..1.0).contains(v)) {
            return wrong("least_probability", format!("{v} is no limit for a name; 0.5 to below 1 is wanted"));
        }
        if let Some(w) = p.ladder_carbons.windows(2).find(|w| w[0] >= w[1]) {
            return wrong(
                "ladder_carbons",
                format!("{} comes before {}; carbon numbers rise with elution", w[0], w[1]),
            );
        }
        if p.ladder_carbons.len() == 1 {
            return wrong("ladder_carbons", "one n-alkane; a ladder needs at least 2".to_owned());
        }
        if !p.ladder_min.is_empty() && p.ladder_min.len() != p.ladder_carbons.len() {
            return wrong(
                "ladder_min",
                format!("{} times for {} n-alkanes; one each is wanted", p.ladder_min.len(), p.ladder_carbons.len()),
            );
        }
        if let Some(t) = p.ladder_min.iter().find(|t| !(t.is_finite() && **t > 0.0)) {
            return wrong("ladder_min", format!("{t} is no retention time; minutes above 0 are wanted"));
        }
        Ok(())
    }

    /// Looks a compound up.
    fn known(&self, compound: &str, field: &str) -> Result<()> {
        if self.compound(compound).is_some() {
            return Ok(());
        }
        let known: Vec<&str> = self.compounds.iter().map(|c| c.name.as_str()).collect();
        Err(Error::new(ErrorKind::Study, format!("the compound \"{compound}\" is not listed"))
            .at_field(field)
            .hint(format!("listed compounds: {}; add a [[compound]] or correct the name", known.join(", "))))
    }
}

/// True for what names a flame-ionisation detector.
fn is_flame(kind: &str) -> bool {
    let kind = kind.to_lowercase();
    kind.contains("flame") || kind == "fid"
}
