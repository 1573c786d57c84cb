//! Results, study and log → [`ReportContext`]: head, gaps, answer.

use crate::estimate::typographic;
use crate::results::{Finding, Results, Severity};
use crate::study::{Limit, StudyConfig};

use super::context::{
    Answer, CONTEXT_SCHEMA, DecisionRow, Fact, FindingRow, Gap, ReportContext, ReportFigure, Used, Words,
};
use super::experimental::{LogLine, experimental};
use super::safety::Safety;
use super::text::{header, name};
use super::words::Authored;
use super::{appendix, calculations, comparison, conclusions, number, record, replicates, sample_calculation, tables};

impl ReportContext {
    /// Everything a report may show, from the results and what they rest on.
    ///
    /// `log` adds what results do not hold (volume, dilution, method, known contents); it may be empty.
    /// Figures go to the section that their [`ReportFigure::id`] names.
    ///
    /// ```
    /// # use vialbook::{report::{ReportContext, Safety}, results::*, study::StudyConfig};
    /// let config = StudyConfig::parse("title = \"Ethanol in gin\"")?;
    /// # let results = Results { schema: SCHEMA.into(), program: Program { name: "vialbook".into(), version: "0".into() },
    /// #     study: StudyHead { title: config.title.clone(), question: None, date: None, simulated: false,
    /// #     study_sha256: String::new(), injections_sha256: String::new() },
    /// #     runs: vec![], naming: Default::default(), peaks: vec![], calibrations: vec![], amounts: vec![],
    /// #     replicates: vec![], scatter: vec![], comparisons: vec![], findings: vec![] };
    /// let context = ReportContext::from_results(&results, &config, &[], vec![], Safety::default());
    /// assert!(context.gaps.iter().any(|g| g.key == "discussion"));
    /// # Ok::<(), vialbook::Error>(())
    /// ```
    pub fn from_results(
        results: &Results,
        config: &StudyConfig,
        log: &[LogLine],
        figures: Vec<ReportFigure>,
        safety: Safety,
    ) -> Self {
        let author = &config.report;
        let answer = answer(results, config);
        let sample_calculation = sample_calculation::sample_calculation(results, config, log);
        let comparisons = comparison::comparisons(results, config);
        let conclusions = match author.conclusions {
            Some(false) => Vec::new(),
            _ => conclusions::conclusions(results, &answer.decisions, &comparisons),
        };
        let mut context = ReportContext {
            schema: CONTEXT_SCHEMA.to_owned(),
            program: format!("{} {}", results.program.name, results.program.version),
            typesetter: None,
            paper: author.paper.clone().unwrap_or_else(|| "a4".to_owned()),
            language: "en".to_owned(),
            simulated: results.study.simulated || config.simulated,
            title: config.title.clone(),
            title_short: header(&config.title),
            authors: config.authors.clone(),
            institution: stated(&config.institution),
            date: stated(&config.date),
            question: stated(&config.question),
            remarks: config.notes.clone(),
            words: Words::default(),
            gaps: Vec::new(),
            answer,
            experimental: experimental(results, config, log),
            safety,
            calibrations: tables::calibrations(results, &figures),
            budgets: tables::budgets(results, &figures),
            figures,
            peak_tables: tables::peak_tables(results),
            amounts: tables::amounts(results),
            amount_notes: tables::amount_notes(results),
            calculations: calculations::calculations(results, sample_calculation.as_ref()),
            tasks: Vec::new(),
            answers: false,
            sample_calculation,
            replicates: replicates::replicates(results),
            scatter: replicates::scatter(results),
            comparisons,
            conclusions,
            record: record::record(results, config),
            findings: results.findings.iter().filter(|f| !is_decision(f)).map(finding).collect(),
            used: used(results, config),
            appendix: appendix::appendix(results, config),
            attachments: Vec::new(),
            citable: Vec::new(),
            own_references: false,
            authored: Authored::default(),
            pictures: Vec::new(),
        };
        for (section, text) in [
            ("abstract", &author.abstract_text),
            ("introduction", &author.introduction),
            ("experimental", &author.experimental),
            ("safety", &author.safety),
            ("discussion", &author.discussion),
            ("conclusion", &author.conclusion),
        ] {
            let place = format!("{section} in study.toml under [report]");
            context.authored.set(section, text.as_deref().unwrap_or_default(), &place);
        }
        context.authored.tasks = config.tasks.clone();
        context.gaps = structural_gaps(config);
        context.gaps.extend(record::gaps(results, config));
        context.refresh();
        context
    }

    /// Sets the author's words anew and brings the list of gaps up to them.
    pub(super) fn refresh(&mut self) {
        let anchors = super::anchors::anchors(self);
        let (mut pictures, mut problems) = (Vec::new(), self.authored.problems.clone());
        let mut blocks = |section: &str| {
            let found = self.authored.render(section, &anchors, &mut pictures);
            problems.extend(found.problems);
            found.blocks
        };
        self.words = Words {
            abstract_text: blocks("abstract"),
            introduction: blocks("introduction"),
            experimental: blocks("experimental"),
            safety: blocks("safety"),
            discussion: blocks("discussion"),
            conclusion: blocks("conclusion"),
        };
        self.tasks = self.authored.render_tasks(&anchors, &mut pictures, &mut problems);
        self.pictures = pictures;
        self.citable = self.authored.keys();
        self.own_references = !self.authored.bibliography.keys.is_empty();
        self.gaps.retain(|g| g.key != PROBLEM && !WRITTEN.iter().any(|w| w.0 == g.key));
        let words = &self.words;
        for (key, what) in WRITTEN {
            let written = match *key {
                "abstract" => &words.abstract_text,
                "introduction" => &words.introduction,
                "discussion" => &words.discussion,
                "conclusion" => &words.conclusion,
                _ => &words.safety,
            };
            if written.is_empty() {
                self.gaps.push(Gap {
                    key: (*key).to_owned(),
                    what: (*what).to_owned(),
                    how: format!("{key} in study.toml under [report], or words/{key}.md"),
                });
            }
        }
        self.gaps.extend(problems);
    }
}

/// Key of gaps that are slips in what the author wrote.
const PROBLEM: &str = "words";

/// What only the author can write.
const WRITTEN: &[(&str, &str)] = &[
    ("abstract", "The abstract is not written."),
    ("introduction", "The introduction is not written."),
    ("safety", "Local safety rules and the waste route are not stated."),
    ("discussion", "The discussion is not written."),
    ("conclusion", "The conclusion is not written."),
];

fn stated(text: &Option<String>) -> Option<String> {
    text.as_deref().map(str::trim).filter(|t| !t.is_empty()).map(str::to_owned)
}

/// What the study does not state and a reader of the report will look for.
fn structural_gaps(config: &StudyConfig) -> Vec<Gap> {
    let mut gaps = Vec::new();
    let mut gap = |missing: bool, key: &str, what: String, how: &str| {
        if missing {
            gaps.push(Gap { key: key.to_owned(), what, how: format!("{how} in study.toml") });
        }
    };
    gap(config.authors.is_empty(), "authors", "No author is named.".into(), "authors");
    gap(stated(&config.date).is_none(), "date", "The date of the work is not stated.".into(), "date");
    gap(stated(&config.question).is_none(), "question", "The question is not stated.".into(), "question");
    let column = &config.column;
    gap(
        column.phase.is_none() || column.length_m.is_none(),
        "column",
        "The column is not described (phase and length at least).".into(),
        "[column]",
    );
    gap(config.detector.kind.is_none(), "detector", "The kind of detector is not stated.".into(), "[detector] kind");
    gap(
        config.decision.as_ref().is_some_and(|d| stated(&d.statement).is_none()),
        "statement",
        "What is decided is not stated.".into(),
        "[decision] statement",
    );
    gap(
        config.methods.iter().all(|m| m.oven.is_empty()),
        "programme",
        "The oven's programme is not stated.".into(),
        "[[method]] oven",
    );
    gap(
        config.solutions.is_empty(),
        "solutions",
        "How the solutions were made is not stated.".into(),
        "[[solution]] made",
    );
    for s in config.solutions.iter().filter(|s| stated(&s.made).is_none()) {
        let what = format!("How \"{}\" was made is not stated.", name(&s.name));
        gap(true, "solutions", what, "[[solution]] made");
    }
    gaps
}

/// Decisions are findings whose name begins with that word.
pub(super) fn is_decision(finding: &Finding) -> bool {
    finding.what.starts_with("decision")
}

fn answer(results: &Results, config: &StudyConfig) -> Answer {
    let decisions: Vec<&Finding> = results.findings.iter().filter(|f| is_decision(f)).collect();
    let verdict = decisions.iter().map(|f| f.severity).max().map(|worst| match worst {
        Severity::Pass => "yes",
        Severity::Warn => "undecided",
        Severity::Fail => "no",
    });
    let rule = config.decision.as_ref().filter(|_| !decisions.is_empty()).map(|d| {
        let p = number::typed(100.0 * d.probability);
        let fixed = match &d.fixed_on {
            Some(day) => format!("; the rule was fixed on {}", name(day)),
            None => String::new(),
        };
        format!(
            "accepted where the probability of lying within the limit is at least {p} %, refused where that of lying outside is, \
             undecided between (JCGM 106){fixed}"
        )
    });
    let others = |s: Severity| results.findings.iter().filter(|f| f.severity == s && !is_decision(f)).count();
    let caution = match (others(Severity::Fail), others(Severity::Warn)) {
        (0, 0) => None,
        (0, 1) => Some("One check raises a doubt; it is listed under fitness of the measurement.".to_owned()),
        (0, n) => Some(format!("{n} checks raise doubts; they are listed under fitness of the measurement.")),
        (1, _) => {
            Some("One check failed: the claim does not hold as it stands; see fitness of the measurement.".to_owned())
        }
        (n, _) => {
            Some(format!("{n} checks failed: the claim does not hold as it stands; see fitness of the measurement."))
        }
    };
    let statement = config.decision.as_ref().and_then(|d| stated(&d.statement));
    let asked = statement.as_deref().is_none_or(|s| s.ends_with('?'));
    let words = verdict.map(|v| match (v, asked) {
        ("yes", true) => "Yes",
        ("yes", false) => "This holds",
        ("no", true) => "No",
        ("no", false) => "This does not hold",
        _ => "Undecided",
    });
    Answer {
        statement,
        verdict_words: words.map(str::to_owned),
        verdict: verdict.map(str::to_owned),
        rule,
        decisions: decisions.iter().map(|f| decision(f, config)).collect(),
        amounts: results
            .amounts
            .iter()
            .filter(|a| a.kind == "sample")
            .map(|a| Fact {
                name: format!("{}, {} in {}", name(&a.compound), a.quantity, name(&a.sample)),
                value: typographic(&a.text),
            })
            .collect(),
        caution,
    }
}

fn decision(f: &Finding, config: &StudyConfig) -> DecisionRow {
    let what = f.what.trim_start_matches("decision").trim_start_matches([':', ',', ' ']);
    // The longest name that fits: "propanol" also stands in "2-propanol".
    let limits = config.decision.iter().flat_map(|d| &d.limits).filter(|l| what.contains(&l.compound));
    let limit = limits.max_by_key(|l| l.compound.len());
    let verdict = match f.severity {
        Severity::Pass => "within",
        Severity::Warn => "undecided",
        Severity::Fail => "outside",
    };
    DecisionRow {
        what: name(limit.map_or(what, |l| &l.compound)),
        place: name(&f.place),
        limit: limit.map_or_else(|| number::MISSING.to_owned(), limit_words),
        origin: limit.map_or_else(|| f.origin.clone(), |l| l.origin.clone()),
        verdict: verdict.to_owned(),
        severity: f.severity.word().to_owned(),
        why: typographic(&f.why),
        next: f.next.clone(),
    }
}

fn limit_words(limit: &Limit) -> String {
    let unit = limit.unit.symbol;
    match (limit.low, limit.high) {
        (Some(a), Some(b)) => format!("{} to {} {unit}", number::typed(a), number::typed(b)),
        (Some(a), None) => format!("at least {} {unit}", number::typed(a)),
        (None, Some(b)) => format!("at most {} {unit}", number::typed(b)),
        (None, None) => number::MISSING.to_owned(),
    }
}

fn finding(f: &Finding) -> FindingRow {
    FindingRow {
        severity: f.severity.word().to_owned(),
        what: f.what.clone(),
        place: name(&f.place),
        why: typographic(&f.why),
        origin: f.origin.clone(),
        next: f.next.clone(),
    }
}

fn used(results: &Results, config: &StudyConfig) -> Used {
    let any = |f: &dyn Fn(&crate::results::CalibrationResult) -> bool| results.calibrations.iter().any(f);
    let smoothed = |text: &str| text.contains("Savitzky");
    Used {
        internal_standard: config.internal_standard().is_some(),
        through_zero: any(&|c| c.model.contains("zero")),
        two_part_weights: any(&|c| c.weights.contains("two-part")),
        inverse_square_weights: any(&|c| c.weights.contains("1/x²")),
        dilution: results.amounts.iter().any(|a| a.dilution_applied != 1.0),
        savitzky_golay: results.peaks.iter().any(|p| smoothed(&p.method))
            || results.runs.iter().any(|r| r.notes.iter().any(|n| smoothed(n))),
        iso_11843: any(&|c| c.limit_method.as_deref().is_some_and(|m| m.contains("11843"))),
        currie: any(&|c| c.limit_method.as_deref().is_some_and(|m| m.contains("Currie"))),
        ich_q2: any(&|c| c.limit_method.as_deref().is_some_and(|m| m.contains("ICH"))),
        decision: results.findings.iter().any(is_decision),
    }
}
