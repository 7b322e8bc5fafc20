//! Where the configuration is looked for when none is named.

use super::fault::ConfigError;
use std::env;
use std::ffi::OsString;
use std::path::PathBuf;

/// The file's name, in every place.
const FILE: &str = "dwellwatch.toml";

/// The first configuration there is: here, else in the person's configuration folder, else in the system's.
///
/// # Errors
/// When there is none.
pub fn default_file() -> Result<PathBuf, ConfigError> {
    let looked = places(env::var_os("XDG_CONFIG_HOME"), env::var_os("HOME"));
    match looked.iter().find(|file| file.is_file()) {
        Some(file) => Ok(file.clone()),
        None => Err(ConfigError::NotFound { looked }),
    }
}

/// XDG Base Directory Specification 0.8: `$XDG_CONFIG_HOME`, when unset or not absolute `~/.config`.
fn places(xdg: Option<OsString>, home: Option<OsString>) -> Vec<PathBuf> {
    let absolute = |folder: Option<OsString>| folder.map(PathBuf::from).filter(|folder| folder.is_absolute());
    let own = absolute(xdg).or_else(|| absolute(home).map(|home| home.join(".config")));
    let own = own.map(|folder| folder.join("dwellwatch").join(FILE));
    let system = PathBuf::from("/etc/dwellwatch").join(FILE);
    [Some(PathBuf::from(FILE)), own, Some(system)].into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_configuration_folder_that_is_not_absolute_is_passed_over() {
        let own = |xdg: &str| places(Some(xdg.into()), Some("/home/a".into()))[1].clone();
        assert_eq!(own("/conf"), PathBuf::from("/conf/dwellwatch/dwellwatch.toml"));
        assert_eq!(own("conf"), PathBuf::from("/home/a/.config/dwellwatch/dwellwatch.toml"));
        let nowhere = places(None, None);
        assert_eq!(nowhere, ["dwellwatch.toml", "/etc/dwellwatch/dwellwatch.toml"].map(PathBuf::from));
    }
}
