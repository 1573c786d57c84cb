//! Flasks from shots, a curve per analyte, and what of it goes into the results.

use std::collections::BTreeMap;

use super::responses::Measured;
use super::{
    Injection, Kind, ModelChoice, QuantifyBy, Role, Scope, Solution, Study, StudyConfig, UsedIn, WeightChoice,
};
use crate::calibrate::{
    BlankResponse, CalibrationOptions, Curve, Drift, ErrorsInX, Flask, FlaskTypeB, GroupSource, InterceptCheck, Limits,
    Model, SharedSource, TimedFlask, Weighting,
};
use crate::error::{Error, ErrorKind, Result};
use crate::quantify::VolumeCancels;
use crate::results::NamedLimit;
use crate::units::ContentUnit;

/// A curve with what is needed to use it.
pub(super) struct Calibrated {
    pub(super) compound: String,
    pub(super) curve: Curve,
    pub(super) limits: Option<Limits>,
    pub(super) volume_cancels: Option<VolumeCancels>,
    pub(super) drift: Option<Drift>,
    pub(super) intercept: Option<InterceptCheck>,
    /// Limits by other rules, in units of x.
    pub(super) other_limits: Vec<NamedLimit>,
    /// The line with the stated uncertainties of the contents.
    pub(super) errors_in_x: Option<ErrorsInX>,
    /// Unit of the contents in the flasks.
    pub(super) unit: ContentUnit,
    /// Unit of the internal standard's content, where the curve is one of ratios.
    pub(super) standard_unit: Option<ContentUnit>,
    /// The sample that the contents were added to, in a standard addition.
    pub(super) added_to: Option<String>,
}

/// One flask of injections: indices into the study's injections, all of one sample and preparation.
pub(super) struct FlaskShots {
    pub(super) label: String,
    pub(super) shots: Vec<usize>,
}

impl Study {
    /// Injections that pass `wanted`, grouped by flask in the order of their first shot.
    pub(super) fn flasks(&self, wanted: impl Fn(&Injection) -> bool) -> Vec<FlaskShots> {
        let mut flasks: Vec<FlaskShots> = Vec::new();
        for (i, injection) in self.injections.iter().enumerate().filter(|(_, x)| wanted(x)) {
            let label = injection.flask();
            match flasks.iter_mut().find(|f| f.label == label) {
                Some(flask) => flask.shots.push(i),
                None => flasks.push(FlaskShots { label, shots: vec![i] }),
            }
        }
        flasks
    }

    /// A curve for every analyte that standards hold.
    pub(super) fn calibrate(&self, measured: &Measured) -> Result<Vec<Calibrated>> {
        let analytes = self.config.compounds.iter().filter(|c| c.role == Role::Analyte);
        // These take no curve.
        let by = self.config.quantification.by;
        if matches!(by, QuantifyBy::OneStandard | QuantifyBy::Bracketing | QuantifyBy::Normalisation) {
            return Ok(Vec::new());
        }
        if by != QuantifyBy::StandardAddition {
            return analytes.filter_map(|c| self.calibrate_one(&c.name, None, measured).transpose()).collect();
        }
        let mut samples: Vec<&str> = Vec::new();
        for i in self.injections.iter().filter(|i| i.kind == Kind::Addition) {
            if !samples.contains(&i.sample.as_str()) {
                samples.push(&i.sample);
            }
        }
        let mut all = Vec::new();
        for c in analytes {
            for sample in &samples {
                all.extend(self.calibrate_one(&c.name, Some(sample), measured)?);
            }
        }
        Ok(all)
    }

    /// In a standard addition all flasks of a sample hold the internal standard in one content: it is in no x.
    fn one_internal_standard(&self, flasks: &[FlaskShots], internal: Option<&str>) -> Result<()> {
        let Some(name) = internal else { return Ok(()) };
        let content = |i: usize| self.injections[i].content(name).map(|c| c.value);
        let mut shots = flasks.iter().flat_map(|f| f.shots.iter().copied());
        let first = shots.next().and_then(content);
        match shots.find(|&i| content(i) != first) {
            None => Ok(()),
            Some(odd) => Err(Error::new(
                ErrorKind::Study,
                format!("the run \"{}\" states another content of {name} than the first", self.injections[odd].run),
            )
            .at_line(self.injections[odd].line)
            .hint("in a standard addition every flask holds the internal standard in one content")),
        }
    }

    /// `None` where no standard holds the compound.
    fn calibrate_one(&self, compound: &str, added_to: Option<&str>, measured: &Measured) -> Result<Option<Calibrated>> {
        let q = &self.config.quantification;
        // Whole flasks: a shot whose cell was left empty is asked for, never passed over.
        let mut standards = self.flasks(|i| match added_to {
            None => i.kind == Kind::Standard,
            Some(sample) => i.kind == Kind::Addition && i.sample == sample,
        });
        standards.retain(|f| f.shots.iter().any(|&i| self.injections[i].content(compound).is_some()));
        let Some(first) = standards.first() else { return Ok(None) };
        let unit_of = |i: usize, name: &str| self.injections[i].content(name).map(|c| c.unit);
        self.one_making(&standards)?;
        let Some(unit) = unit_of(first.shots[0], compound) else { return Ok(None) };
        let internal = self.config.internal_standard();
        let standard_unit = internal.and_then(|name| unit_of(first.shots[0], name));
        if added_to.is_some() {
            self.one_internal_standard(&standards, internal)?;
        }

        let mut flasks = Vec::with_capacity(standards.len());
        for flask in &standards {
            flasks.extend(self.standard_flask(flask, compound, internal, measured)?);
        }
        let options = CalibrationOptions {
            compound: compound.to_owned(),
            model: match q.model {
                ModelChoice::Line => Model::Line,
                ModelChoice::ThroughZero => Model::ThroughZero,
                ModelChoice::Quadratic => Model::Quadratic,
                ModelChoice::PowerLaw => Model::PowerLaw,
                ModelChoice::LogLog => Model::LogLog,
                ModelChoice::InverseRegressionLine => Model::InverseRegressionLine,
            },
            weighting: match q.weights {
                WeightChoice::TwoPart => Weighting::TwoPart,
                WeightChoice::Inverse => Weighting::Inverse,
                WeightChoice::InverseResponse => Weighting::InverseResponse,
                WeightChoice::InverseSquare => Weighting::InverseSquare,
                WeightChoice::Replicates => Weighting::Replicates,
                WeightChoice::None => Weighting::None,
            },
            level: q.level,
            shared: shared_sources(&self.config, compound, UsedIn::Standards),
            group_shared: self.group_sources(compound, &standards, &flasks),
            flask_type_b: flask_type_b(&self.config, compound),
        };
        let curve = Curve::fit(&flasks, &options)?;
        // What an addition could have detected depends on what was in the sample.
        let limits = match added_to {
            None => curve.limits(&self.limit_options(compound, measured)).ok(),
            Some(_) => None,
        };
        let volume_cancels = match internal {
            Some(name) if added_to.is_none() => self.volume_cancels(compound, name, measured),
            _ => None,
        };
        let drift = curve.drift(&self.timed_samples(compound, internal, measured));
        let intercept = match added_to {
            None => curve.intercept_check(self.blank_response(compound, measured)),
            Some(_) => None,
        };
        let other_limits = match added_to {
            None => self.other_limits(compound, &curve, limits.as_ref(), internal, measured),
            Some(_) => Vec::new(),
        };
        let errors_in_x = self.errors_in_x(compound, &curve);
        let compound = compound.to_owned();
        let added_to = added_to.map(str::to_owned);
        Ok(Some(Calibrated {
            compound,
            curve,
            limits,
            volume_cancels,
            drift,
            intercept,
            other_limits,
            errors_in_x,
            unit,
            standard_unit,
            added_to,
        }))
    }

    /// One standard flask: content (or ratio of contents) against mean response over its accepted shots; `None`
    /// where all its shots were rejected and have no response to draw either.
    pub(super) fn standard_flask(
        &self,
        flask: &FlaskShots,
        compound: &str,
        internal: Option<&str>,
        measured: &Measured,
    ) -> Result<Option<Flask>> {
        let contents: Vec<f64> =
            flask.shots.iter().map(|&i| self.x_of(i, compound, internal)).collect::<Result<_>>()?;
        let odd = contents.iter().position(|x| *x != contents[0]);
        if let Some(odd) = odd {
            let i = &self.injections[flask.shots[odd]];
            return Err(Error::new(
                ErrorKind::Study,
                format!("shots of the flask \"{}\" state different contents of {compound}", flask.label),
            )
            .at_line(i.line)
            .hint("one flask has one content; give another flask another name in the column \"preparation\""));
        }
        let accepted: Vec<usize> = flask.shots.iter().copied().filter(|&i| self.injections[i].accepted).collect();
        // A flask that is left out keeps its place in the plot: its rejected shots show where it would lie.
        let (shots, excluded) = match accepted.is_empty() {
            false => (accepted, None),
            true => (flask.shots.clone(), Some(self.reasons(&flask.shots))),
        };
        let responses = match self.responses(&shots, compound, internal, measured) {
            Err(_) if excluded.is_some() => return Ok(None),
            other => other?,
        };
        let (values, us): (Vec<f64>, Vec<f64>) = responses.into_iter().unzip();
        let places = self.places();
        let shot_order = shots.iter().map(|&i| places[i]).collect();
        Ok(Some(Flask { excluded, shot_order, ..Flask::from_shots(flask.label.clone(), contents[0], &values, &us) }))
    }

    /// Place of each injection in the order of the day: by their times where all are stated in one sortable form,
    /// otherwise in the order of the log.
    fn places(&self) -> Vec<f64> {
        let shape = |t: &str| t.chars().map(|c| if c.is_ascii_digit() { '0' } else { c }).collect::<String>();
        let times: Option<Vec<&str>> = self.injections.iter().map(|i| i.time.as_deref()).collect();
        let sortable = |t: &str| ["0000-00-00", "00:00"].iter().any(|s| shape(t).starts_with(s));
        let Some(times) = times.filter(|t| t.iter().all(|t| sortable(t) && shape(t) == shape(self.time_of_first())))
        else {
            return (0..self.injections.len()).map(|i| i as f64).collect();
        };
        let mut order: Vec<usize> = (0..times.len()).collect();
        order.sort_by_key(|&i| times[i]);
        let mut places = vec![0.0; times.len()];
        order.iter().enumerate().for_each(|(place, &i)| places[i] = place as f64);
        places
    }

    fn time_of_first(&self) -> &str {
        self.injections.first().and_then(|i| i.time.as_deref()).unwrap_or_default()
    }

    /// Samples and check standards shot by shot, for drift; flasks that were made differently are left out.
    fn timed_samples(&self, compound: &str, internal: Option<&str>, measured: &Measured) -> Vec<Vec<TimedFlask>> {
        let places = self.places();
        let mut samples: Vec<(&str, Vec<TimedFlask>)> = Vec::new();
        let content = |i: usize| internal.and_then(|name| self.injections[i].content(name)).map(|c| c.value);
        let flasks = self.flasks(|i| i.accepted && matches!(i.kind, Kind::Sample | Kind::CheckStandard));
        let mut making: BTreeMap<&str, (Option<f64>, Option<f64>)> = BTreeMap::new();
        for flask in &flasks {
            let first = flask.shots[0];
            let made = (self.injections[first].dilution, content(first));
            let sample = self.injections[first].sample.as_str();
            if internal.is_some() && made.1.is_none_or(|c| c <= 0.0) || *making.entry(sample).or_insert(made) != made {
                continue;
            }
            let Ok(responses) = self.responses(&flask.shots, compound, internal, measured) else { continue };
            let square: f64 = responses.iter().map(|r| r.1 * r.1).sum();
            let timed = TimedFlask {
                order: flask.shots.iter().map(|&i| places[i]).collect(),
                response_u: libm::sqrt(square / responses.len() as f64),
                responses: responses.into_iter().map(|r| r.0).collect(),
            };
            match samples.iter_mut().find(|s| s.0 == sample) {
                Some(s) => s.1.push(timed),
                None => samples.push((sample, vec![timed])),
            }
        }
        samples.into_iter().map(|s| s.1).collect()
    }

    /// The blanks' mean response in the compound's window: matrix blanks where there are any, otherwise solvent blanks.
    fn blank_response(&self, compound: &str, measured: &Measured) -> Option<BlankResponse> {
        let divisor = self.usual_standard_area(measured)?;
        let of = |wanted: Kind| -> Vec<(f64, f64)> {
            let blanks = self.injections.iter().enumerate().filter(|(_, i)| i.accepted && i.kind == wanted);
            blanks.filter_map(|(n, _)| measured.area(n, compound).ok()).collect()
        };
        let mut areas = of(Kind::MatrixBlank);
        if areas.is_empty() {
            areas = of(Kind::SolventBlank);
        }
        let n = areas.len() as f64;
        (!areas.is_empty()).then(|| BlankResponse {
            response: areas.iter().map(|a| a.0).sum::<f64>() / n / divisor,
            u: libm::sqrt(areas.iter().map(|a| a.1 * a.1).sum()) / n / divisor,
            dof: None,
        })
    }

    /// The internal standard's usual area in the standards; 1 without one, `None` where it does not show.
    pub(super) fn usual_standard_area(&self, measured: &Measured) -> Option<f64> {
        let Some(name) = self.config.internal_standard() else { return Some(1.0) };
        let standards = self.injections.iter().enumerate().filter(|(_, i)| i.accepted && i.kind == Kind::Standard);
        let mut areas: Vec<f64> =
            standards.filter_map(|(i, _)| measured.area(i, name).ok()).map(|(area, _)| area).collect();
        areas.sort_by(f64::total_cmp);
        areas.get(areas.len() / 2).copied().filter(|a| *a > 0.0)
    }

    /// Sources that some of the standards share, by the flasks of these.
    fn group_sources(&self, compound: &str, standards: &[FlaskShots], used: &[Flask]) -> Vec<GroupSource> {
        let of = self.config.solutions.iter().filter(|s| s.used_in == UsedIn::Standards);
        of.flat_map(|solution| solution.sources.iter().map(move |s| (solution, s)))
            .filter(|(_, s)| !s.standards.is_empty() && s.touches(compound))
            .filter_map(|(solution, s)| {
                let shares = |f: &&FlaskShots| s.standards.contains(&self.injections[f.shots[0]].sample);
                let kept = |label: &String| used.iter().any(|f| f.label == *label);
                Some(GroupSource {
                    name: format!("{}: {}", solution.name, s.name),
                    relative_u: s.standard()?,
                    flasks: standards.iter().filter(shares).map(|f| f.label.clone()).filter(kept).collect(),
                })
            })
            .collect()
    }

    /// Shots of one flask share its making: one dilution; and either all flasks state theirs or none does.
    pub(super) fn one_making(&self, flasks: &[FlaskShots]) -> Result<()> {
        let stated = |f: &FlaskShots| self.injections[f.shots[0]].dilution;
        for flask in flasks {
            if let Some(&odd) = flask.shots.iter().find(|&&i| self.injections[i].dilution != stated(flask)) {
                return Err(Error::new(
                    ErrorKind::Study,
                    format!("shots of the flask \"{}\" state different dilutions", flask.label),
                )
                .at_line(self.injections[odd].line)
                .hint("one flask was made once; give another flask another name in the column \"preparation\""));
            }
        }
        let Some(some) = flasks.iter().find(|f| stated(f).is_some()) else { return Ok(()) };
        match flasks.iter().find(|f| {
            stated(f).is_none() && self.injections[f.shots[0]].sample == self.injections[some.shots[0]].sample
        }) {
            None => Ok(()),
            Some(silent) => Err(Error::new(
                ErrorKind::Study,
                format!(
                    "the flask \"{}\" states no dilution, \"{}\" of the same sample does",
                    silent.label, some.label
                ),
            )
            .at_line(self.injections[silent.shots[0]].line)
            .hint("fill in the column \"dilution\"; 1 where nothing was diluted")),
        }
    }

    /// x of one injection: the content, or its ratio to that of the internal standard.
    fn x_of(&self, i: usize, compound: &str, internal: Option<&str>) -> Result<f64> {
        let injection = &self.injections[i];
        let content = |name: &str| {
            injection.content(name).map(|c| c.value).ok_or_else(|| {
                Error::new(ErrorKind::Study, format!("the standard \"{}\" states no content of {name}", injection.run))
                    .at_line(injection.line)
                    .hint(format!("fill in the column of {name}; 0 where it holds none"))
            })
        };
        let own = content(compound)?;
        match internal {
            None => Ok(own),
            Some(_) if self.injections[i].kind == Kind::Addition => Ok(own),
            Some(name) => {
                let standard = content(name)?;
                if standard <= 0.0 {
                    return Err(Error::new(
                        ErrorKind::Study,
                        format!("the standard \"{}\" holds no internal standard ({name})", injection.run),
                    )
                    .at_line(injection.line));
                }
                Ok(own / standard)
            }
        }
    }

    /// Responses of shots with their uncertainty from the traces: areas, or ratios to the internal standard's.
    pub(super) fn responses(
        &self,
        shots: &[usize],
        compound: &str,
        internal: Option<&str>,
        measured: &Measured,
    ) -> Result<Vec<(f64, f64)>> {
        shots
            .iter()
            .map(|&i| {
                let (area, u) = measured.area(i, compound)?;
                let Some(name) = internal else { return Ok((area, u)) };
                let (standard, standard_u) = measured.area(i, name)?;
                if standard <= 3.0 * standard_u {
                    return Err(Error::new(
                        ErrorKind::Data,
                        format!(
                            "the internal standard ({name}) does not show in the run \"{}\"",
                            self.injections[i].run
                        ),
                    )
                    .at_line(self.injections[i].line)
                    .hint("reject the run with its reason, or leave the internal standard's content empty"));
                }
                let ratio = area / standard;
                Ok((ratio, libm::hypot(u / standard, ratio * standard_u / standard)))
            })
            .collect()
    }

    fn reasons(&self, shots: &[usize]) -> String {
        let mut reasons: Vec<&str> = shots.iter().filter_map(|&i| self.injections[i].reason.as_deref()).collect();
        reasons.dedup();
        reasons.join("; ")
    }

    /// Rule of the internal standard: does the injected volume cancel in the ratio? All flasks with two shots speak.
    fn volume_cancels(&self, compound: &str, internal: &str, measured: &Measured) -> Option<VolumeCancels> {
        let flasks = self.flasks(|i| {
            i.accepted
                && matches!(i.kind, Kind::Standard | Kind::CheckStandard | Kind::Sample)
                && i.content(internal).is_some_and(|c| c.value > 0.0)
        });
        let shots: Vec<Vec<[f64; 2]>> = flasks
            .iter()
            .map(|f| {
                f.shots
                    .iter()
                    .filter_map(|&i| Some([measured.area(i, compound).ok()?, measured.area(i, internal).ok()?]))
                    // Noise has no logarithm worth fitting.
                    .filter(|pair| pair.iter().all(|(area, u)| *area > 10.0 * u))
                    .map(|[a, b]| [a.0, b.0])
                    .collect()
            })
            .collect();
        VolumeCancels::of(&shots)
    }
}

/// Sources common to all flasks of one side; what both sides share cancels and is in neither list.
pub(super) fn shared_sources(config: &StudyConfig, compound: &str, side: UsedIn) -> Vec<SharedSource> {
    sources(config, compound, side, Scope::Shared)
        .map(|(solution, name, u)| SharedSource::new(format!("{}: {name}", solution.name), u))
        .collect()
}

/// What is known beforehand about one flask of the standards, root sum of squares.
pub(super) fn flask_type_b(config: &StudyConfig, compound: &str) -> Option<FlaskTypeB> {
    let sum: f64 = sources(config, compound, UsedIn::Standards, Scope::Flask).map(|(_, _, u)| u * u).sum();
    (sum > 0.0).then(|| FlaskTypeB { relative_u: libm::sqrt(sum), dof: None })
}

fn sources<'a>(
    config: &'a StudyConfig,
    compound: &'a str,
    side: UsedIn,
    scope: Scope,
) -> impl Iterator<Item = (&'a Solution, &'a str, f64)> {
    config.solutions.iter().filter(move |s| s.used_in == side).flat_map(move |solution| {
        solution
            .sources
            .iter()
            // What some standards share goes with these alone.
            .filter(move |s| s.scope == scope && s.touches(compound) && s.standards.is_empty())
            .filter_map(move |s| Some((solution, s.name.as_str(), s.standard()?)))
    })
}

/// In words.
pub(super) fn quantification_words(by: QuantifyBy) -> &'static str {
    match by {
        QuantifyBy::InternalStandard => "internal standard",
        QuantifyBy::ExternalStandard => "external standard",
        QuantifyBy::StandardAddition => "standard addition",
        QuantifyBy::OneStandard => "one standard",
        QuantifyBy::Bracketing => "bracketing",
        QuantifyBy::Normalisation => "normalisation",
    }
}
