//! Where the author's words come from: study.toml, Markdown files in the study, method calls.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{Anchor, Bibliography, Block, Lookup, markdown, shipped_keys};
use crate::error::{Error, ErrorKind, Result};
use crate::report::context::{Gap, TaskPart};
use crate::study::Task;

/// Sections that only the author can write, by the name they have in study.toml and as a file.
pub(in crate::report) const SECTIONS: &[&str] =
    &["abstract", "introduction", "experimental", "safety", "discussion", "conclusion"];
/// Folder in the study that holds Markdown files, one a section.
const FOLDER: &str = "words";
/// Largest Markdown file.
const LARGEST_TEXT: u64 = 1_000_000;
/// Largest picture.
const LARGEST_PICTURE: u64 = 10_000_000;

/// The text of one section as the author wrote it.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::report) struct Source {
    /// Markdown.
    pub(in crate::report) text: String,
    /// Where it stands, in words.
    pub(in crate::report) place: String,
    /// Folder of the file it came from, below the study's, where pictures are looked for first.
    pub(in crate::report) folder: String,
}

/// A picture of the author, read.
#[derive(Clone, PartialEq)]
pub(in crate::report) struct Picture {
    /// File in the build folder.
    pub(in crate::report) file: String,
    /// As the author wrote it.
    pub(in crate::report) path: String,
    /// Its bytes.
    pub(in crate::report) bytes: Arc<Vec<u8>>,
}

impl std::fmt::Debug for Picture {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Picture({}, {} bytes)", self.path, self.bytes.len())
    }
}

/// All that the author wrote, and what it refers to.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::report) struct Authored {
    /// One text a section.
    pub(in crate::report) texts: BTreeMap<String, Source>,
    /// The study folder, where there is one.
    pub(in crate::report) folder: Option<PathBuf>,
    /// The author's own references.
    pub(in crate::report) bibliography: Bibliography,
    /// Tasks of a worked example.
    pub(in crate::report) tasks: Vec<Task>,
    /// What went wrong while files were read.
    pub(in crate::report) problems: Vec<Gap>,
}

/// The words of one section as blocks, with its pictures and problems.
pub(in crate::report) struct Rendered {
    pub(in crate::report) blocks: Vec<Block>,
    pub(in crate::report) problems: Vec<Gap>,
}

impl Authored {
    /// Sets a section's text; an empty one takes it away.
    pub(in crate::report) fn set(&mut self, section: &str, text: &str, place: &str) {
        if text.trim().is_empty() {
            self.texts.remove(section);
        } else {
            let source = Source { text: text.to_owned(), place: place.to_owned(), folder: String::new() };
            self.texts.insert(section.to_owned(), source);
        }
    }

    /// Takes in what lies in the study folder: `words/<section>.md` for sections that study.toml leaves open, and the
    /// references that it names.
    ///
    /// # Errors
    /// A file that leads out of the folder, is too large, or is not UTF-8.
    pub(in crate::report) fn read_folder(&mut self, folder: &Path, bibliography: Option<&str>) -> Result<()> {
        self.folder = Some(folder.to_path_buf());
        self.problems.clear();
        for section in SECTIONS {
            let name = format!("{FOLDER}/{section}.md");
            if !folder.join(&name).exists() {
                continue;
            }
            let path = crate::read::inside(folder, &name)?;
            let text = text_of(&path)?;
            match self.texts.get(*section) {
                Some(known) if !text.trim().is_empty() && known.place != name => self.problems.push(Gap {
                    key: "words".to_owned(),
                    what: format!("The {section} is written twice; that of {} is printed.", known.place),
                    how: format!("take out {name}, or {section} in study.toml"),
                }),
                _ => {
                    self.set(section, &text, &name);
                    if let Some(source) = self.texts.get_mut(*section) {
                        source.folder = FOLDER.to_owned();
                    }
                }
            }
        }
        if let Some(name) = bibliography {
            self.bibliography = Bibliography::read(folder, name)?;
            let how = name.to_owned();
            let told = self.bibliography.problems.iter();
            self.problems.extend(told.map(|p| Gap { key: "words".into(), what: sentence(p), how: how.clone() }));
        }
        Ok(())
    }

    /// Keys that can be cited.
    pub(in crate::report) fn keys(&self) -> Vec<String> {
        shipped_keys().into_iter().chain(self.bibliography.keys.iter().cloned()).collect()
    }

    /// One section as blocks; `pictures` grows by those that it shows.
    pub(in crate::report) fn render(&self, section: &str, anchors: &[Anchor], pictures: &mut Vec<Picture>) -> Rendered {
        match self.texts.get(section) {
            Some(source) => self.render_source(section, source, anchors, pictures),
            None => Rendered { blocks: Vec::new(), problems: Vec::new() },
        }
    }

    /// The tasks as blocks.
    pub(in crate::report) fn render_tasks(
        &self,
        anchors: &[Anchor],
        pictures: &mut Vec<Picture>,
        problems: &mut Vec<Gap>,
    ) -> Vec<TaskPart> {
        let mut parts = Vec::new();
        for (i, task) in self.tasks.iter().enumerate() {
            let mut blocks = |what: &str, text: Option<&str>| {
                let source = Source {
                    text: text.unwrap_or_default().to_owned(),
                    place: format!("{what} of [[task]] {} in study.toml", i + 1),
                    folder: String::new(),
                };
                let found = self.render_source(&format!("{what} of task {}", i + 1), &source, anchors, pictures);
                problems.extend(found.problems);
                found.blocks
            };
            parts.push(TaskPart {
                question: blocks("text", Some(&task.text)),
                hint: blocks("hint", task.hint.as_deref()),
                answer: blocks("answer", task.answer.as_deref()),
                points: task.points.map(|p| p.to_string()),
            });
        }
        parts
    }

    fn render_source(&self, what: &str, source: &Source, anchors: &[Anchor], pictures: &mut Vec<Picture>) -> Rendered {
        let keys = self.keys();
        let lookup = Lookup { anchors, keys: &keys };
        let mut find = |target: &str| self.picture(&source.folder, target, pictures);
        let (blocks, problems) = markdown::blocks(&source.text, &lookup, &mut find);
        let problems = problems
            .into_iter()
            .map(|p| Gap {
                key: "words".to_owned(),
                what: format!("In the {what}, {}", sentence_end(&p.what)),
                how: format!("{}, line {}", source.place, p.line),
            })
            .collect();
        Rendered { blocks, problems }
    }

    /// A picture that lies in the study folder; it is read once.
    fn picture(&self, beside: &str, target: &str, pictures: &mut Vec<Picture>) -> Result<(String, String), String> {
        let Some(folder) = &self.folder else {
            return Err("no study folder is known that it could lie in".to_owned());
        };
        let said = |e: Error| e.message().to_owned();
        if target.contains("://") {
            return Err("nothing is fetched; copy it into the study folder".to_owned());
        }
        // Beside the text, as an editor shows it; else from the study folder.
        let near = format!("{beside}/{target}");
        let (path, named) = match crate::read::inside(folder, &near) {
            Ok(path) if !beside.is_empty() => (path, near),
            _ => (crate::read::inside(folder, target).map_err(said)?, target.to_owned()),
        };
        let at = match pictures.iter().position(|p| p.path == named) {
            Some(at) => at,
            None => {
                let size = std::fs::metadata(&path).map_err(|e| e.to_string())?.len();
                if size > LARGEST_PICTURE {
                    return Err(format!("it has {} kB; at most {} kB go in", size / 1000, LARGEST_PICTURE / 1000));
                }
                let bytes = std::fs::read(&path).map_err(|e| e.to_string())?;
                let ending = picture_kind(&bytes).ok_or("it is neither PNG, JPEG nor SVG")?;
                let file = format!("pictures/{}.{ending}", pictures.len());
                pictures.push(Picture { file, path: named, bytes: Arc::new(bytes) });
                pictures.len() - 1
            }
        };
        let file = pictures.get(at).map(|p| p.file.clone()).unwrap_or_default();
        Ok((file, format!("picture-{at}")))
    }
}

/// What the bytes are, whatever the file is called.
fn picture_kind(bytes: &[u8]) -> Option<&'static str> {
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        return Some("png");
    }
    if bytes.starts_with(b"\xFF\xD8\xFF") {
        return Some("jpg");
    }
    let text = std::str::from_utf8(bytes).ok()?;
    let head: String = text.chars().take(2_000).collect();
    let xml = head.trim_start_matches('\u{feff}').trim_start();
    (xml.starts_with('<') && head.contains("<svg")).then_some("svg")
}

fn text_of(path: &Path) -> Result<String> {
    let size = std::fs::metadata(path).map_err(|e| Error::io("look at", path, e))?.len();
    if size > LARGEST_TEXT {
        let message = format!("{} kB; at most {} kB of text are read", size / 1000, LARGEST_TEXT / 1000);
        return Err(Error::new(ErrorKind::File, message).in_file(path));
    }
    let bytes = std::fs::read(path).map_err(|e| Error::io("read", path, e))?;
    let text = String::from_utf8(bytes).map_err(|_| {
        Error::new(ErrorKind::Format, "not UTF-8 text; Markdown must be").in_file(path).hint("save the file as UTF-8")
    })?;
    Ok(text.trim_start_matches('\u{feff}').to_owned())
}

/// With a capital letter and a full stop.
fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|c| c.to_uppercase().chain(sentence_end(chars.as_str()).chars()).collect()).unwrap_or_default()
}

fn sentence_end(text: &str) -> String {
    if text.ends_with(['.', '?', '!']) { text.to_owned() } else { format!("{text}.") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::write::write_whole;

    #[test]
    fn words_pictures_and_references_come_from_the_folder_alone() -> Result<()> {
        let dir = tempfile::tempdir().map_err(|e| Error::io("make", "tempdir", e))?;
        let root = dir.path();
        write_whole(
            &root.join("words/discussion.md"),
            b"See ![a](a.svg \"A\") ![b](b.png) ![c](../../c.png) ![d](/etc/passwd) [@own].",
        )?;
        write_whole(&root.join("words/a.svg"), b"<svg xmlns='http://www.w3.org/2000/svg' width='1' height='1'/>")?;
        write_whole(&root.join("b.png"), b"\x89PNG\r\n\x1a\nrest")?;
        write_whole(&root.join("own.bib"), b"@misc{own, title = {Ours}, year = 2020}")?;
        let mut authored = Authored::default();
        authored.read_folder(root, Some("own.bib"))?;
        let mut pictures = Vec::new();
        let found = authored.render("discussion", &[], &mut pictures);
        let files: Vec<&str> = pictures.iter().map(|p| p.file.as_str()).collect();
        assert_eq!(files, ["pictures/0.svg", "pictures/1.png"]);
        let told: Vec<&str> = found.problems.iter().map(|p| p.what.as_str()).collect();
        assert_eq!(told.len(), 2, "{told:?}");
        assert!(told[0].contains("leads out of its folder") && told[1].contains("is absolute"), "{told:?}");
        assert_eq!(found.problems[0].how, "words/discussion.md, line 1");
        // What study.toml says goes first, and the second text is told.
        authored.set("discussion", "Short.", "study.toml");
        authored.read_folder(root, None)?;
        assert_eq!(authored.texts["discussion"].text, "Short.");
        assert!(authored.problems[0].what.contains("written twice"));
        assert!(authored.read_folder(root, Some("../own.bib")).is_err());
        Ok(())
    }
}
