//! What study.toml can ask for: each way of quantifying, each source of uncertainty, each check, from folder to results.

use std::fs;

use vialbook::Results;
use vialbook::numeric::Xoshiro256PlusPlus;
use vialbook::results::{Finding, Severity};
use vialbook::study::{Analysis, Study};

/// One injection of two compounds, a at 2 and b at 3 minutes.
struct Shot {
    sample: String,
    kind: &'static str,
    flask: String,
    /// Content of a as stated in the log.
    stated: Option<f64>,
    /// Areas of a and b.
    areas: [f64; 2],
    day: u32,
}

fn shot(sample: &str, kind: &'static str, flask: usize, stated: Option<f64>, areas: [f64; 2]) -> Shot {
    Shot { sample: sample.to_owned(), kind, flask: format!("f{flask}"), stated, areas, day: 1 }
}

/// A study folder whose traces hold Gaussian peaks of the areas given, with noise of 0.02 mV.
fn folder(toml: &str, shots: &[Shot]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    fs::create_dir(folder.path().join("traces")).expect("traces");
    fs::write(folder.path().join("study.toml"), toml).expect("written");
    let mut log = "run,file,sample,kind,preparation,time,a (mg/L)\n".to_owned();
    let mut random = Xoshiro256PlusPlus::seeded(11);
    for (k, s) in shots.iter().enumerate() {
        let mut trace = "time (min),signal (mV)\n".to_owned();
        for i in 0..1200 {
            let t = f64::from(i) / 300.0;
            let peak = |area: f64, at: f64| {
                area / (0.03 * std::f64::consts::TAU.sqrt()) * (-0.5 * ((t - at) / 0.03).powi(2)).exp()
            };
            let y = 5.0 + peak(s.areas[0], 2.0) + peak(s.areas[1], 3.0) + 0.02 * random.normal();
            trace.push_str(&format!("{t:.5},{y:.6}\n"));
        }
        fs::write(folder.path().join(format!("traces/r{k}.csv")), trace).expect("written");
        let stated = s.stated.map(|x| x.to_string()).unwrap_or_default();
        let time = format!("2026-01-{:02} 09:{:02}", s.day, k % 60);
        log.push_str(&format!("r{k},traces/r{k}.csv,{},{},{},{time},{stated}\n", s.sample, s.kind, s.flask));
    }
    fs::write(folder.path().join("injections.csv"), log).expect("written");
    folder
}

/// An analysis whose folder stays while it is asked.
struct Analysed {
    analysis: Analysis,
    _folder: tempfile::TempDir,
}

impl std::ops::Deref for Analysed {
    type Target = Analysis;

    fn deref(&self) -> &Analysis {
        &self.analysis
    }
}

fn analysed(toml: &str, shots: &[Shot]) -> Analysed {
    let folder = folder(toml, shots);
    let analysis = Study::open(folder.path()).expect("opens").analyse().expect("analyses");
    follows_the_schema(&analysis);
    Analysed { analysis, _folder: folder }
}

/// The words of a study that is refused.
fn refused(toml: &str, shots: &[Shot]) -> String {
    let folder = folder(toml, shots);
    match Study::open(folder.path()).and_then(|s| s.analyse()) {
        Ok(_) => panic!("not refused:\n{toml}"),
        Err(e) => e.to_string(),
    }
}

fn follows_the_schema(analysis: &Analysis) {
    let schema: serde_json::Value =
        serde_json::from_str(include_str!("../../../src/results.schema.json")).expect("JSON");
    let mut schemas = boon::Schemas::new();
    let mut compiler = boon::Compiler::new();
    compiler.add_resource("results.schema.json", schema).expect("resource");
    let index = compiler.compile("results.schema.json", &mut schemas).expect("schema compiles");
    let instance: serde_json::Value = serde_json::from_slice(&analysis.json().expect("json")).expect("JSON");
    if let Err(e) = schemas.validate(&instance, index) {
        panic!("results break their schema: {e}");
    }
}

fn of<'a>(results: &'a Results, what: &str) -> Vec<&'a Finding> {
    results.findings.iter().filter(|f| f.what == what).collect()
}

const HEAD: &str = "title = \"x\"\nsimulated = true\n";
const COMPOUNDS: &str = "[[compound]]\nname = \"a\"\nretention_min = 2.0\n[[compound]]\nname = \"b\"\nretention_min = \
                         3.0\nrole = \"named\"\n";

/// Standards 2 to 10 mg/L in two flasks of two shots, response 4 a mg/L, flasks and shots with 1 % each.
fn standards(random: &mut Xoshiro256PlusPlus) -> Vec<Shot> {
    let mut all = Vec::new();
    for level in 1..=5 {
        for flask in 0..2 {
            let x = 2.0 * f64::from(level);
            let made = 4.0 * x * (1.0 + 0.01 * random.normal());
            for _ in 0..2 {
                let area = made * (1.0 + 0.01 * random.normal());
                all.push(shot(&format!("level {level}"), "standard", flask, Some(x), [area, 20.0]));
            }
        }
    }
    all
}

#[test]
fn one_standard_and_two_with_what_they_take_for_granted() {
    let mut random = Xoshiro256PlusPlus::seeded(3);
    let mut flasks = |sample: &str, kind, stated: Option<f64>, x: f64| -> Vec<Shot> {
        (0..3).map(|f| shot(sample, kind, f, stated, [4.0 * x * (1.0 + 0.01 * random.normal()), 20.0])).collect()
    };
    let mut shots = flasks("low", "standard", Some(3.0), 3.0);
    shots.extend(flasks("water", "sample", None, 4.0));
    let source = "[[solution]]\nname = \"stock\"\n[[solution.source]]\nname = \"volume\"\nnominal = 10.0\nhalf_width = \
                  0.3\n";
    let toml = |by: &str| format!("{HEAD}{COMPOUNDS}{source}[quantification]\nby = \"{by}\"\n");
    let one = analysed(&toml("one_standard"), &shots);
    let amount = one.amount("water", "a").expect("amount");
    assert!((amount.value - 4.0).abs() < 0.15 && amount.detected, "{}", amount.text);
    assert!(amount.notes.iter().any(|n| n.contains("taken for granted")), "{:?}", amount.notes);
    assert!(amount.notes.iter().any(|n| n.contains("1.33 times") || n.contains("times the standard's")));
    // ± 0.3 in 10 is rectangular: 3 %/√3 of the value stands in the budget.
    let volume = amount.budget.iter().find(|b| b.source.contains("volume")).expect("line");
    assert!((volume.contribution / amount.value - 0.03 / 3.0_f64.sqrt()).abs() < 1e-9);
    assert!(one.results().calibrations.is_empty());
    assert_eq!(one.report().expect("report").context().amounts.len(), one.results().amounts.len());
    shots.extend(flasks("high", "standard", Some(6.0), 6.0));
    let two = analysed(&toml("bracketing"), &shots);
    let amount = two.amount("water", "a").expect("amount");
    assert!((amount.value - 4.0).abs() < 0.15, "{}", amount.text);
    assert!(amount.notes.iter().any(|n| n.contains("straight")), "{:?}", amount.notes);
    let words = refused(&toml("one_standard"), &shots);
    assert!(words.contains("2 levels") && words.contains("bracketing"), "{words}");
}

#[test]
fn a_normalisation_goes_through_the_study() {
    // 60 % of a and 40 % of b by mass, sensitivities 1 and 1/1.3.
    let shots: Vec<Shot> = (0..2).map(|f| shot("mix", "sample", f, None, [30.0, 20.0 / 1.3])).collect();
    let compound =
        |name: &str, at: f64, more: &str| format!("[[compound]]\nname = \"{name}\"\nretention_min = {at}\n{more}\n");
    let factor = |f: f64| format!("response_factor = {f}\nresponse_factor_relative_u = 0.02\n");
    let by = "[quantification]\nby = \"normalisation\"\n";
    let good = format!("{HEAD}{}{}{by}", compound("a", 2.0, &factor(1.0)), compound("b", 3.0, &factor(1.3)));
    let amount = |toml: &str, name: &str| analysed(toml, &shots).amount("mix", name).expect("amount");
    let a = amount(&good, "a");
    assert!((a.value - 60.0).abs() < 0.5 && a.unit == "% m/m", "{}", a.text);
    // Factors of 2 % each: w(1 - w)·√(0.02² + 0.02²) of the share.
    let want = 100.0 * 0.6 * 0.4 * 0.02 * 2.0_f64.sqrt();
    let factors = a.budget.iter().find(|b| b.source == "response factors").expect("line").contribution;
    assert!((factors / want - 1.0).abs() < 0.02, "{factors} instead of {want}");
    assert!(a.notes.iter().any(|n| n.contains("taken not to be there")), "{:?}", a.notes);
    let wet = format!("{good}[[unseen]]\nname = \"water\"\nmass_fraction = 0.1\nu = 0.01\n");
    assert!((amount(&wet, "a").value / a.value - 0.9).abs() < 1e-9);
    let unknown = format!("{good}[[unseen]]\nname = \"water\"\n");
    assert!(refused(&unknown, &shots).contains("does not show water"));
    let bare = format!("{HEAD}{}{}{by}", compound("a", 2.0, &factor(1.0)), compound("b", 3.0, ""));
    assert!(refused(&bare, &shots).contains("b shows, but has no response factor"));
    // By effective carbon numbers: heptane and 2-propanol, Dietz: sensitivity 0.536 of heptane's by mass.
    let flame = "[detector]\nkind = \"flame ionisation\"\n";
    let groups = |name: &str, at: f64, groups: &str, m: f64| {
        compound(name, at, &format!("carbon_groups = {{ {groups} }}\nmolar_mass_g_mol = {m}"))
    };
    let toml = format!(
        "{HEAD}{flame}{}{}{by}",
        groups("a", 2.0, "aliphatic = 7", 100.205),
        groups("b", 3.0, "aliphatic = 3, secondary_alcohol = 1", 60.096)
    );
    let b = amount(&toml, "b");
    let (qa, qb) = (30.0, 20.0 / 1.3 / 0.536);
    assert!((b.value - 100.0 * qb / (qa + qb)).abs() < 0.5, "{}", b.text);
    assert!(b.notes.iter().any(|n| n.contains("effective carbon numbers")), "{:?}", b.notes);
    assert!(refused(&toml.replace(flame, ""), &shots).contains("flame ionisation only"));
}

/// A study that uses nearly everything.
fn rich() -> (String, Vec<Shot>) {
    let mut random = Xoshiro256PlusPlus::seeded(7);
    let mut shots = standards(&mut random);
    for flask in 0..8 {
        shots.push(shot("blank", "solvent_blank", flask, Some(0.0), [0.004 * random.normal(), 0.0]));
    }
    for flask in 0..7 {
        shots.push(shot("low sample", "sample", flask, None, [4.0 * 0.2 * (1.0 + 0.1 * random.normal()), 20.0]));
    }
    // Six flasks over two days; the last is 15 % too high.
    for flask in 0..6 {
        let made = 4.0 * 5.0 * (1.0 + 0.01 * random.normal()) * if flask == 5 { 1.15 } else { 1.0 };
        for _ in 0..2 {
            let mut s = shot("water", "sample", flask, None, [made * (1.0 + 0.01 * random.normal()), 20.0]);
            s.day = 1 + u32::from(flask > 2);
            shots.push(s);
        }
    }
    let toml = format!(
        "{HEAD}{COMPOUNDS}\
         [[solution]]\nname = \"stock\"\nevaporation = \"stood open for 20 min\"\n\
         [[solution.source]]\nname = \"mass\"\nnominal = 0.500\nhalf_width = 0.0005\nreadings = 2\n\
         [[solution.source]]\nname = \"temperature\"\ntemperature_half_width_K = 5.0\n\
         [[solution.source]]\nname = \"intermediate dilution\"\nrelative_u = 0.004\nstandards = [\"level 1\", \"level 2\"]\n\
         [[solution.source]]\nname = \"pipette\"\nscope = \"flask\"\nrelative_half_width = 0.003\n\
         [quantification]\nby = \"external_standard\"\nmonte_carlo_trials = 20000\naccepted_deviation_lowest_percent = 25.0\n\
         detection_replicates = \"low sample\"\n\
         [decision]\n[[decision.limit]]\ncompound = \"a\"\nhigh = 8.0\nunit = \"mg/L\"\norigin = \"invented\"\n\
         [[comparison]]\nsample = \"water\"\ncompound = \"a\"\nvalue = 5.0\nu = 0.02\nunit = \"mg/L\"\norigin = \"truth\"\n\
         target_sd = 0.02\ntarget_origin = \"invented\"\n"
    );
    (toml, shots)
}

#[test]
fn everything_that_can_be_asked_for_shows() {
    let (toml, shots) = rich();
    let analysis = analysed(&toml, &shots);
    let results = analysis.results();
    let c = analysis.calibration("a").expect("calibration");
    // Limits by every rule that there is data for.
    for rule in ["3.3 s/b", "10 s/b", "mean + 3 s of 8 blanks", "40 CFR 136"] {
        assert!(c.other_limits.iter().any(|l| l.rule.contains(rule)), "{rule}: {:?}", c.other_limits);
    }
    assert!(c.limit_method.as_ref().is_some_and(|m| m.contains("scatter of blank flasks")), "{:?}", c.limit_method);
    assert!(c.detection_limit_range.is_some() && c.errors_in_x.is_some());
    assert!(c.relative_standard_error_percent.is_some_and(|r| r < 5.0));
    // Sources: 0.0005·√2/0.5/√3, 5 K at 0.1 %/K over √3, and the dilution that two levels share.
    let amount = analysis.amount("water", "a").expect("amount");
    let relative =
        |name: &str| amount.budget.iter().find(|b| b.source.contains(name)).expect(name).contribution / amount.value;
    assert!((relative("mass") - 0.001 * 2.0_f64.sqrt() / 3.0_f64.sqrt()).abs() < 1e-9);
    assert!((relative("temperature") - 0.005 / 3.0_f64.sqrt()).abs() < 1e-9);
    let group = relative("intermediate");
    assert!(group > 0.0 && group < 0.004, "{group}");
    let trials = amount.monte_carlo.as_ref().expect("trials");
    assert!(trials.trials == 20_000 && trials.interval[0] < amount.value);
    // Flasks beside each other, days, the stray flask.
    let r = results.replicates.iter().find(|r| r.sample == "water").expect("replicates");
    assert_eq!(r.flasks.len(), 6);
    assert!(r.grubbs.as_ref().is_some_and(|g| g.flask.ends_with("f5") && g.p_value < 0.01), "{:?}", r.grubbs);
    assert!(r.robust.is_some_and(|x| x.mean < r.mean) && r.dixon.is_some());
    let scatter = results.scatter.iter().find(|s| s.compound == "a").expect("scatter");
    assert!(scatter.shot_rsd_percent.is_some_and(|s| s > 0.5 && s < 2.0), "{scatter:?}");
    assert!(scatter.day_dof == Some(1.0) && scatter.day_variance_percent2.is_some());
    let comparison = results.comparisons.first().expect("comparison");
    assert!((comparison.difference - (amount.value - 5.0)).abs() < 1e-12 && comparison.z.is_some());
    // Findings, each with what to do.
    for what in [
        "one flask far from the rest",
        "linear propagation of uncertainty",
        "agreement with the reference value",
        "plausibility of the claimed uncertainty",
        "relative standard error of the standards",
        "evaporation",
    ] {
        assert!(!of(results, what).is_empty(), "{what}: {:?}", results.findings);
    }
    let stray = of(results, "one flask far from the rest");
    let stray = stray.iter().find(|f| f.place.contains("water")).expect("stray flask");
    assert!(stray.severity == Severity::Warn && stray.next.is_some() && stray.why.contains("robust mean"), "{stray:?}");
    let claim = of(results, "plausibility of the claimed uncertainty");
    assert!(claim[0].why.contains("larger than laboratories scatter"), "{:?}", claim[0]);
    let decision = results.findings.iter().find(|f| f.what.starts_with("decision")).expect("decision");
    assert!(decision.why.contains("guard band the rule accepts values up to"), "{}", decision.why);
    // And in the report, which reads the same results.
    let report = analysis.report().expect("report");
    let context = report.context();
    assert!(context.replicates.iter().any(|r| r.sample == "water" && r.farthest.contains("G = ")));
    assert_eq!(context.scatter.len(), 1);
    let facts: Vec<String> = context.calibrations[0].facts.iter().map(|f| format!("{}: {}", f.name, f.value)).collect();
    for words in [
        "residuals: curvature",
        "residuals: top level",
        "relative standard error",
        "40 CFR 136",
        "generalised least squares",
    ] {
        assert!(facts.iter().any(|f| f.contains(words)), "{words}: {facts:?}");
    }
    let made: Vec<&String> = context.experimental.solutions.iter().flat_map(|s| &s.sources).collect();
    for words in ["0.5 ± 0.0005, 2 readings", "± 5 K at 0.1 % per K", "shared by level 1, level 2", "not corrected"] {
        assert!(made.iter().any(|s| s.contains(words)), "{words}: {made:?}");
    }
}

/// A standard whose content was stated ten times too high, two flasks exchanged, a top level that bends over: found, and told
/// with the next step; and a flask left out by hand keeps its place with its reason.
#[test]
fn mistakes_in_standards_reach_the_findings() {
    let mut random = Xoshiro256PlusPlus::seeded(17);
    let good = || {
        let mut random = Xoshiro256PlusPlus::seeded(17);
        standards(&mut random)
    };
    let toml = format!("{HEAD}{COMPOUNDS}");
    let sample = |random: &mut Xoshiro256PlusPlus| {
        shot("water", "sample", 0, None, [20.0 * (1.0 + 0.01 * random.normal()), 20.0])
    };
    let run = |mut shots: Vec<Shot>, random: &mut Xoshiro256PlusPlus| -> Analysed {
        shots.push(sample(random));
        analysed(&toml, &shots)
    };
    let doubts = |a: &Analysis| -> String {
        let warned = a.results().findings.iter().filter(|f| f.severity > Severity::Pass);
        warned.map(|f| format!("{} | {} | {}\n", f.what, f.why, f.next.as_deref().unwrap_or("-"))).collect()
    };
    let clean = doubts(&run(good(), &mut random));
    assert!(!clean.contains("exchanged") && !clean.contains("residuals"), "{clean}");
    // Level 2 f0 and level 4 f1 exchanged: shots 4, 5 and 14, 15.
    let mut shots = good();
    for k in 0..2 {
        let (a, b) = (shots[4 + k].areas, shots[14 + k].areas);
        (shots[4 + k].areas, shots[14 + k].areas) = (b, a);
    }
    let found = doubts(&run(shots, &mut random));
    assert!(found.contains("look exchanged"), "{found}");
    let mut shots = good();
    shots.iter_mut().filter(|s| s.sample == "level 3" && s.flask == "f1").for_each(|s| s.areas[0] /= 10.0);
    let found = doubts(&run(shots, &mut random));
    assert!(found.contains("divided by 10"), "{found}");
    let mut shots = good();
    shots.iter_mut().filter(|s| s.sample == "level 5").for_each(|s| s.areas[0] *= 0.7);
    let found = doubts(&run(shots, &mut random));
    assert!(found.contains("residuals: top level") && found.contains("overloaded"), "{found}");
    let mut shots = good();
    shots.iter_mut().filter(|s| s.sample == "level 4").for_each(|s| s.areas[0] *= 0.5);
    let found = doubts(&run(shots, &mut random));
    assert!(found.contains("response falls as the level rises") && found.contains("nothing was dropped"), "{found}");
}

/// A flask rejected by hand is drawn hollow, with its reason in figure, table and results; it has no say.
#[test]
fn a_flask_left_out_keeps_its_place() {
    let mut random = Xoshiro256PlusPlus::seeded(19);
    let mut shots = standards(&mut random);
    shots.push(shot("water", "sample", 0, None, [20.0, 20.0]));
    let folder = folder(&format!("{HEAD}{COMPOUNDS}"), &shots);
    let path = folder.path().join("injections.csv");
    let text = fs::read_to_string(&path).expect("log");
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    lines[0].push_str(",accepted,reason");
    for line in &mut lines[1..] {
        line.push_str(if line.contains("level 2,standard,f1") { ",no,spilt" } else { ",yes," });
    }
    fs::write(&path, lines.join("\n")).expect("written");
    let analysis = Study::open(folder.path()).expect("opens").analyse().expect("analyses");
    let c = analysis.calibration("a").expect("calibration");
    let out = c.points.iter().find(|p| p.excluded.is_some()).expect("left out");
    assert!(out.excluded.as_deref() == Some("spilt") && out.residual.is_some() && out.leverage.is_none());
    assert_eq!(c.points.len(), 10);
    let svg = vialbook::figure::views::calibration(&c).to_report_svg();
    assert!(svg.contains("left out, with reason"));
    let report = analysis.report().expect("report");
    let row = report.context().calibrations[0].points.iter().find(|p| p.excluded.is_some()).expect("row").clone();
    assert_eq!(row.excluded.as_deref(), Some("spilt"));
}

#[test]
fn bad_settings_are_refused_with_their_place() {
    let shots: Vec<Shot> = standards(&mut Xoshiro256PlusPlus::seeded(1));
    let source = |lines: &str| {
        format!("{HEAD}{COMPOUNDS}[[solution]]\nname = \"s\"\n[[solution.source]]\nname = \"v\"\n{lines}\n")
    };
    let quantification = |lines: &str| format!("{HEAD}{COMPOUNDS}[quantification]\n{lines}\n");
    for (toml, words) in [
        (source("nominal = 10.0"), "stand together"),
        (source("nominal = 10.0\nhalf_width = 0.1\nrelative_u = 0.1"), "in two ways"),
        (source("nominal = 0.0\nhalf_width = 0.1"), "nominal value of 0"),
        (source("nominal = 1.0\nhalf_width = 2.0"), "no relative uncertainty"),
        (source("relative_u = 0.1\nreadings = 2"), "readings says nothing"),
        (source("nominal = 1.0\nhalf_width = 0.1\nreadings = 0"), "0 readings"),
        (source("relative_u = 0.1\nexpansion_per_K = 0.001"), "says nothing without"),
        (source("relative_u = 0.1\nscope = \"flask\"\nstandards = [\"level 1\"]"), "\"shared\" is wanted"),
        (source("relative_u = 0.1\nstandards = [\"level 9\"]"), "not in the log"),
        (quantification("monte_carlo_trials = 10"), "10,000"),
        (quantification("accepted_deviation_lowest_percent = -1.0"), "above 0"),
        (quantification("detection_replicates = \"nobody\""), "\"nobody\" is not in the log"),
        (format!("{HEAD}{COMPOUNDS}[[unseen]]\nname = \"w\"\nmass_fraction = 12.0\n"), "no mass fraction"),
        (
            format!(
                "{HEAD}{COMPOUNDS}[[comparison]]\nsample = \"s\"\ncompound = \"a\"\nvalue = 1.0\nu = 0.1\nunit = \
                 \"mg/L\"\norigin = \"o\"\ntarget_sd = 0.0\n"
            ),
            "target_sd = 0",
        ),
    ] {
        let said = refused(&toml, &shots);
        assert!(said.contains(words), "{words:?} is not in: {said}");
    }
}
