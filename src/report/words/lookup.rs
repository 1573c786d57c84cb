//! What the author's words may refer to, and how `[@…]` is read.

use super::{Cite, Inline};

/// A figure or table of the report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::report) struct Anchor {
    /// What the author writes: `fig:calibration/2-propanol`, `tab:amounts`.
    pub(in crate::report) key: String,
    /// Its label in the template.
    pub(in crate::report) label: String,
    /// What is printed where a template does not show it.
    pub(in crate::report) words: String,
}

/// Everything that a citation or reference is looked up in.
pub(in crate::report) struct Lookup<'a> {
    /// Figures and tables.
    pub(in crate::report) anchors: &'a [Anchor],
    /// Keys of the list of references.
    pub(in crate::report) keys: &'a [String],
}

impl Lookup<'_> {
    /// `@key, p. 12; @other` or `@fig:chromatogram`: what stands between the square brackets.
    /// `None` where this is no citation at all, an error where it is one of something unknown.
    pub(super) fn resolve(&self, inside: &str) -> Option<Result<Inline, String>> {
        let first = inside.strip_prefix('@')?;
        if first.is_empty() || first.starts_with(char::is_whitespace) {
            return None;
        }
        if ["fig:", "tab:"].iter().any(|p| first.starts_with(p)) {
            return Some(self.reference(first));
        }
        Some(self.cite(inside))
    }

    fn reference(&self, wanted: &str) -> Result<Inline, String> {
        // `fig:calibration` stands for all calibrations, the full key for one.
        let below = format!("{wanted}/");
        let exact: Vec<&Anchor> = self.anchors.iter().filter(|a| a.key == wanted).collect();
        let found = match exact.is_empty() {
            false => exact,
            true => self.anchors.iter().filter(|a| a.key.starts_with(&below)).collect(),
        };
        if found.is_empty() {
            let kind = &wanted[..4];
            let known: Vec<&str> =
                self.anchors.iter().map(|a| a.key.as_str()).filter(|k| k.starts_with(kind)).collect();
            let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
            return Err(format!("\"{wanted}\" is nothing to refer to; there are: {known}"));
        }
        Ok(Inline::Reference {
            labels: found.iter().map(|a| a.label.clone()).collect(),
            prose: found.iter().map(|a| a.words.as_str()).collect::<Vec<_>>().join(", "),
        })
    }

    fn cite(&self, inside: &str) -> Result<Inline, String> {
        let mut cites = Vec::new();
        for part in inside.split(';').map(str::trim) {
            let (key, place) = match part.split_once(',') {
                Some((key, place)) => (key.trim(), Some(place.trim().to_owned()).filter(|p| !p.is_empty())),
                None => (part, None),
            };
            let Some(key) = key.strip_prefix('@').filter(|k| self.keys.iter().any(|known| known == k)) else {
                return Err(format!(
                    "\"{key}\" is not in the list of references; put it into a .bib file and name that as bibliography in \
                     study.toml under [report], or take one of: {}",
                    self.keys.join(", ")
                ));
            };
            cites.push(Cite { key: key.to_owned(), prose: place });
        }
        Ok(Inline::Cite { cites })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_looked_up_and_unknown_ones_told() {
        let anchor = |key: &str| Anchor { key: key.into(), label: format!("l-{key}"), words: "figure".into() };
        let anchors = [anchor("fig:calibration/2-propanol"), anchor("fig:calibration/octane"), anchor("tab:amounts")];
        let keys = ["gum".to_owned(), "own:2020".to_owned()];
        let look = Lookup { anchors: &anchors, keys: &keys };
        let labels = |inside: &str| match look.resolve(inside) {
            Some(Ok(Inline::Reference { labels, .. })) => labels.len(),
            _ => 0,
        };
        assert_eq!((labels("@fig:calibration"), labels("@fig:calibration/octane"), labels("@tab:amounts")), (2, 1, 1));
        assert!(look.resolve("@tab:none").is_some_and(|r| r.is_err_and(|e| e.contains("tab:amounts"))));
        assert!(look.resolve("@gum, 4.2; @own:2020").is_some_and(|r| r.is_ok()));
        assert!(look.resolve("@nobody").is_some_and(|r| r.is_err()));
        assert!(look.resolve("plain").is_none() && look.resolve("@ home").is_none());
    }
}
