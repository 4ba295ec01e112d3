//! The unit of the user service, with this program and these folders in it.

use crate::cli::Common;
use std::path::{Path, PathBuf};

/// The unit as shipped; its ExecStart is put right when it is installed.
const UNIT: &str = include_str!("../../../systemd/budtide.service");

/// The unit's name.
pub const NAME: &str = "budtide.service";

/// What its ExecStart begins with as shipped.
const SHIPPED: &str = "ExecStart=%h/.local/bin/budtide service run";

/// The unit for this program and these folders.
pub fn unit(common: &Common) -> Result<String, String> {
    let program = std::env::current_exe()
        .map_err(|error| format!("cannot tell where this program lies: {error}"))?;
    let mut start = format!("ExecStart={}", quoted(&program)?);
    if let Some(folder) = &common.folder {
        let folder = std::path::absolute(folder)
            .map_err(|error| format!("cannot tell where {} is: {error}", folder.display()))?;
        start.push_str(&format!(" --folder {}", quoted(&folder)?));
    }
    start.push_str(" service run");
    let mut text = UNIT.replace(SHIPPED, &start);
    // A service does not see what a shell has set.
    for variable in ["XDG_CONFIG_HOME", "XDG_DATA_HOME"] {
        if common.folder.is_none()
            && let Some(value) = std::env::var_os(variable).map(PathBuf::from)
            && value.is_absolute()
        {
            let setting = format!(
                "Environment={}\n",
                word(&format!("{variable}={}", value.display()))
            );
            text = text.replace("\nNice=10\n", &format!("\n{setting}Nice=10\n"));
        }
    }
    Ok(text)
}

/// A path as one word of a unit file (systemd.syntax(7)).
fn quoted(path: &Path) -> Result<String, String> {
    let text = path
        .to_str()
        .filter(|text| !text.chars().any(char::is_control))
        .ok_or_else(|| {
            format!(
                "the path {} cannot stand in a unit file; move it to one of plain letters",
                path.display()
            )
        })?;
    Ok(word(text).replace('$', "$$"))
}

/// One word of a unit file.
fn word(text: &str) -> String {
    let escaped = text
        .replace('\\', "\\\\")
        .replace('"', "\\\"")
        .replace('%', "%%");
    match escaped.contains([' ', '"', '\'', ';']) {
        true => format!("\"{escaped}\""),
        false => escaped,
    }
}

/// Where the user's own units lie.
pub fn unit_path() -> Result<PathBuf, String> {
    let config = std::env::var_os("XDG_CONFIG_HOME")
        .map(PathBuf::from)
        .filter(|path| path.is_absolute())
        .or_else(|| {
            std::env::home_dir()
                .filter(|home| !home.as_os_str().is_empty())
                .map(|home| home.join(".config"))
        })
        .ok_or("there is no home folder to put the unit in")?;
    Ok(config.join("systemd/user").join(NAME))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_unit_has_the_line_that_is_put_right() {
        assert!(UNIT.contains(SHIPPED));
        assert!(UNIT.contains("\nNice=10\n"));
        let status = super::super::FOR_THE_KEEPER;
        assert!(UNIT.contains(&format!("RestartPreventExitStatus={status}\n")));
    }

    #[test]
    fn paths_are_words_of_a_unit_file() {
        let read = |text: &str| quoted(Path::new(text)).unwrap();
        assert_eq!(read("/usr/bin/budtide"), "/usr/bin/budtide");
        assert_eq!(read("/a b/50%/$x"), "\"/a b/50%%/$$x\"");
        assert_eq!(read("/q\"q"), "\"/q\\\"q\"");
        assert!(quoted(Path::new("/a\nb")).is_err());
    }
}
