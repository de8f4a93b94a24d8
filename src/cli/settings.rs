//! The user's own settings: whose rules judge on this machine, and what the user's pages and cards look like.
//!
//! One TOML file with three keys. `rules = ["house.toml"]`: files or folders of house rules, read before those that are named
//! on the command line. `templates = "style"`: a folder with templates of the user's own (name, logo, colours, fonts), taken
//! where the command line names none; an inspection folder cannot bring one. `keys = ["inspector.pub"]`: public keys that the user trusts; `verify` says by which of
//! them a seal is signed. All are relative to the file itself. Beside
//! it, in `profiles/`, lie the user's format profiles for logs.

use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::Failure;
use crate::evidence::signature::VerifyingKey;
use crate::logs::read::{PROFILES, Profiles};
use crate::record::open;
use crate::record::problem::{Problem, Problems};

/// The environment variable that names the file; empty for none.
const VARIABLE: &str = "UNDERLID_CONFIG";

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Settings {
    #[serde(default)]
    rules: Vec<PathBuf>,
    templates: Option<PathBuf>,
    #[serde(default)]
    keys: Vec<PathBuf>,
}

/// The public keys that the user trusts, each with the name of its file; none in a build that cannot check them.
pub(super) fn keys() -> Result<Vec<(String, VerifyingKey)>, Failure> {
    #[cfg(feature = "signatures")]
    {
        let named = |path: &PathBuf| {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            Ok((name, VerifyingKey::read(&path.display().to_string()).map_err(super::words)?))
        };
        read()?.keys.iter().map(named).collect()
    }
    #[cfg(not(feature = "signatures"))]
    read().map(|settings| drop(settings.keys)).map(|()| Vec::new())
}

/// The rules that the user's settings name.
pub(super) fn rules() -> Result<Vec<PathBuf>, Failure> {
    Ok(read()?.rules)
}

/// The user's templates: those named on the command line, else those of the settings.
pub(super) fn templates(named: Option<&PathBuf>) -> Result<Option<PathBuf>, Failure> {
    named.map_or_else(|| Ok(read()?.templates), |named| Ok(Some(named.clone())))
}

/// The settings, their paths beside their file.
fn read() -> Result<Settings, Failure> {
    let Some((file, named)) = file() else { return Ok(Settings::default()) };
    let text = match open::named_text(&file) {
        Err(refused) if refused.is_gone() && !named => return Ok(Settings::default()),
        read => read.map_err(super::words)?,
    };
    let settings: Settings = toml::from_str(&text).map_err(|error| {
        let span = error.span().unwrap_or_default();
        let example = "rules = [\"house.toml\"]\ntemplates = \"style\"\nkeys = [\"inspector.pub\"]";
        let expected = "expected `rules` and `keys`, lists of paths, and `templates`, a path";
        let problem = Problem::at(span, error.message().to_owned(), expected, example);
        Problems::new(&file.display().to_string(), &text, vec![problem])
    })?;
    let beside = file.parent().unwrap_or(Path::new("."));
    Ok(Settings {
        rules: settings.rules.iter().map(|rules| beside.join(rules)).collect(),
        templates: settings.templates.map(|folder| beside.join(folder)),
        keys: settings.keys.iter().map(|key| beside.join(key)).collect(),
    })
}

/// The folder of the user's format profiles; none where the user has no settings.
pub(super) fn profile_folder() -> Option<PathBuf> {
    Some(folder()?.join(PROFILES))
}

/// The folder of the user's settings; none where the user has none.
pub(super) fn folder() -> Option<PathBuf> {
    let (file, _) = file()?;
    Some(file.parent().unwrap_or(Path::new(".")).to_owned())
}

/// The user's format profiles.
pub(super) fn profiles() -> Result<Profiles, Failure> {
    let mut profiles = Profiles::default();
    if let Some(folder) = profile_folder() {
        profiles.read(&folder)?;
    }
    Ok(profiles)
}

/// The file of the settings, and whether the user named it.
fn file() -> Option<(PathBuf, bool)> {
    if let Some(named) = std::env::var_os(VARIABLE) {
        return (!named.is_empty()).then(|| (named.into(), true));
    }
    let folder =
        |variable: &str| std::env::var_os(variable).filter(|path| !path.is_empty()).map(PathBuf::from);
    let own = folder("XDG_CONFIG_HOME").or_else(|| Some(folder("HOME")?.join(".config")))?;
    Some((own.join("underlid/settings.toml"), false))
}
