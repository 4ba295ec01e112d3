//! The files of the knowledge: the shipped ones, with the user's put over
//! them.

use crate::config::fault::Fault;
use include_dir::{Dir, include_dir};
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::path::Path;

/// The shipped files, embedded in the program.
static SHIPPED: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/config");

/// The folders that hold knowledge. `references`, `cautions`,
/// `zones`, `lookalikes` and `judging` stand as single files of that name.
pub const FOLDERS: [&str; 11] = [
    "references",
    "cautions",
    "crops",
    "cultivars",
    "diseases",
    "insects",
    "materials",
    "chores",
    "zones",
    "lookalikes",
    "judging",
];

/// One file of knowledge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct File {
    /// Its name from the folder `config/` on, such as `crops/apple.toml`.
    pub name: String,
    /// What stands in it.
    pub text: Cow<'static, str>,
    /// Whether it came with the program.
    pub shipped: bool,
}

impl File {
    /// The name without folder and ending: the id of what it holds.
    pub fn stem(&self) -> &str {
        stem(&self.name)
    }
}

/// All files of knowledge.
#[derive(Clone, Debug, Default)]
pub struct Shelf {
    files: BTreeMap<String, File>,
    removed: Vec<String>,
    faults: Vec<Fault>,
}

impl Shelf {
    /// The shipped files, each replaced by the user's file of the same name;
    /// a user's file without a line of content takes the shipped one away.
    /// A user's file or folder that cannot be read is a fault.
    pub fn open(user: Option<&Path>) -> Self {
        let mut shelf = Shelf::default();
        for file in shipped_files() {
            shelf.files.insert(file.name.clone(), file);
        }
        if let Some(folder) = user {
            shelf.lay_over(folder);
        }
        shelf
    }

    fn lay_over(&mut self, user: &Path) {
        for folder in FOLDERS {
            let single = format!("{folder}.toml");
            if user.join(&single).is_file() {
                self.lay(user, single);
            }
            let inside = user.join(folder);
            if !inside.is_dir() {
                continue;
            }
            match names_in(&inside) {
                Ok(names) => {
                    for name in names {
                        self.lay(user, format!("{folder}/{name}"));
                    }
                }
                Err(error) => self.faults.push(Fault::whole(
                    folder,
                    format!("this folder cannot be read: {error}"),
                )),
            }
        }
    }

    fn lay(&mut self, user: &Path, name: String) {
        match std::fs::read_to_string(user.join(&name)) {
            Ok(text) if is_bare(&text) => {
                if self.files.remove(&name).is_some() {
                    self.removed.push(name);
                }
            }
            Ok(text) => {
                let file = File {
                    name: name.clone(),
                    text: Cow::Owned(text),
                    shipped: false,
                };
                self.files.insert(name, file);
            }
            Err(error) => self.faults.push(Fault::whole(
                &name,
                format!("this file cannot be read: {error}"),
            )),
        }
    }

    /// The files of a folder by name; for `references` and `cautions` the
    /// single file first.
    pub fn folder<'s>(&'s self, folder: &'s str) -> impl Iterator<Item = &'s File> {
        let single = self.files.get(&format!("{folder}.toml"));
        let inside = self
            .files
            .values()
            .filter(move |file| folder_of(&file.name) == Some(folder));
        single.into_iter().chain(inside)
    }

    /// The shipped files of a folder that the user took away, by id.
    pub fn removed<'s>(&'s self, folder: &'s str) -> impl Iterator<Item = &'s str> {
        self.removed
            .iter()
            .filter(move |name| folder_of(name) == Some(folder))
            .map(|name| stem(name))
    }

    /// What could not be read.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }
}

fn stem(name: &str) -> &str {
    let name = name.rsplit('/').next().unwrap_or(name);
    name.strip_suffix(".toml").unwrap_or(name)
}

fn folder_of(name: &str) -> Option<&str> {
    name.split_once('/').map(|(folder, _)| folder)
}

/// Whether a file holds nothing but comments and blank lines.
fn is_bare(text: &str) -> bool {
    text.trim_start_matches('\u{feff}')
        .lines()
        .all(|line| line.trim().is_empty() || line.trim_start().starts_with('#'))
}

fn shipped_files() -> impl Iterator<Item = File> {
    let singles = FOLDERS
        .iter()
        .filter_map(|folder| SHIPPED.get_file(format!("{folder}.toml")));
    let inside = FOLDERS
        .iter()
        .filter_map(|folder| SHIPPED.get_dir(folder))
        .flat_map(Dir::files);
    singles.chain(inside).filter_map(|file| {
        let name = file.path().to_string_lossy().replace('\\', "/");
        (name.ends_with(".toml")).then(|| File {
            name,
            // `tests/knowledge.rs` holds that every shipped file is UTF-8.
            text: Cow::Borrowed(file.contents_utf8().unwrap_or_default()),
            shipped: true,
        })
    })
}

fn names_in(folder: &Path) -> std::io::Result<Vec<String>> {
    let mut names = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let name = entry?.file_name().to_string_lossy().into_owned();
        if name.ends_with(".toml") && !name.starts_with('.') {
            names.push(name);
        }
    }
    names.sort();
    Ok(names)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_of_comments_is_bare() {
        assert!(is_bare(""));
        assert!(is_bare("# we grow none\n\n"));
        assert!(!is_bare("# apples\nname = \"apple\"\n"));
    }

    #[test]
    fn names_become_ids() {
        assert_eq!(stem("crops/tart-cherry.toml"), "tart-cherry");
        assert_eq!(folder_of("crops/tart-cherry.toml"), Some("crops"));
        assert_eq!(folder_of("references.toml"), None);
    }
}
