//! Settings, parsed once at the start. Flags win over the environment, that over the settings file, that over defaults,
//! which are safe. Each failure names the setting.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::time::Duration;

use serde::Deserialize;
use thiserror::Error;

/// A setting that cannot be used.
#[derive(Debug, Error)]
pub enum SettingError {
    /// The file is no TOML, or has a key that there is not.
    #[error("the settings file {file}: {what}")]
    File {
        /// Its name.
        file: String,
        /// What is wrong, with the line.
        what: String,
    },
    /// A value out of its range.
    #[error("the setting `{name}` is {found}; it must be {rule}")]
    Range {
        /// Name of the setting.
        name: &'static str,
        /// What was given.
        found: String,
        /// What is allowed.
        rule: &'static str,
    },
    /// A setting that says more about another one, which is not there.
    #[error("the setting `{name}` is nothing without `{other}`: give that too, or leave `{name}` out")]
    Alone {
        /// Name of the setting.
        name: &'static str,
        /// The one that is missing.
        other: &'static str,
    },
}

/// Everything that can be set, each from a flag, the environment or the file.
#[derive(Debug, Clone, Default, Deserialize, clap::Args)]
#[serde(deny_unknown_fields)]
pub struct Given {
    /// Folder of the database
    #[arg(long, env = "PLATEMARK_DATA", value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// Address and port to listen on [default: 127.0.0.1:8080]
    #[arg(long, env = "PLATEMARK_LISTEN", value_name = "ADDRESS:PORT")]
    pub listen: Option<SocketAddr>,
    /// Address and port of a second listener that only answers /metrics; keep it away from the school's network
    #[arg(long, env = "PLATEMARK_METRICS", value_name = "ADDRESS:PORT")]
    pub metrics: Option<SocketAddr>,
    /// A proxy in front speaks HTTPS: cookies are sent over it only, and browsers are told to stay with it
    #[arg(long, env = "PLATEMARK_BEHIND_TLS", num_args = 0..=1, default_missing_value = "true")]
    pub behind_tls: Option<bool>,
    /// The proxy in front puts the browser's address last into the header X-Forwarded-For: wrong tries to sign in are
    /// counted by it. Only where nobody reaches this server but through the proxy
    #[arg(long, env = "PLATEMARK_FORWARDED_FOR", num_args = 0..=1, default_missing_value = "true")]
    pub forwarded_for: Option<bool>,
    /// Minutes without use after which a person is signed out [default: 120]
    #[arg(long, env = "PLATEMARK_IDLE_MINUTES", value_name = "MINUTES")]
    pub idle_minutes: Option<u32>,
    /// Hours after which a person has to sign in again in any case [default: 12]
    #[arg(long, env = "PLATEMARK_SESSION_HOURS", value_name = "HOURS")]
    pub session_hours: Option<u32>,
    /// Whether any instructor may download a backup of the whole school and put one back, the classes of all others included
    /// [default: only while the school has a single instructor]
    #[arg(long, env = "PLATEMARK_COPIES_ON_PAGES", num_args = 0..=1, default_missing_value = "true")]
    pub copies_on_pages: Option<bool>,
    /// The server has each photo and PDF that is added beside a report looked through by this program (its whole path)
    /// before it is kept. The program gets the file on standard input. Exit status 0: kept; 1: it found something, the file
    /// is refused; any other, or none within 10 seconds: not looked through, refused as well
    #[arg(long, env = "PLATEMARK_SCAN", value_name = "PROGRAM")]
    pub scan: Option<PathBuf>,
    /// Arguments of the program that --scan names, parted by spaces; may be given several times. No shell reads them
    #[arg(
        long,
        env = "PLATEMARK_SCAN_WITH",
        value_name = "ARGUMENTS",
        value_delimiter = ' ',
        allow_hyphen_values = true
    )]
    pub scan_with: Option<Vec<String>>,
}

impl Given {
    /// Reads a settings file.
    ///
    /// # Errors
    /// When it is no TOML or has a key that there is not.
    pub fn from_toml(file: &str, text: &str) -> Result<Self, SettingError> {
        toml::from_str(text).map_err(|e| SettingError::File {
            file: file.to_owned(),
            what: e.to_string(),
        })
    }

    /// These, and those of `other` where these name none.
    #[must_use]
    pub fn or(self, other: Self) -> Self {
        // Arguments go with their program: those of the file are not given to one that the command line or environment names.
        let (scan, scan_with) = match self.scan {
            Some(program) => (Some(program), self.scan_with),
            None => (other.scan, self.scan_with.or(other.scan_with)),
        };
        Self {
            data: self.data.or(other.data),
            listen: self.listen.or(other.listen),
            metrics: self.metrics.or(other.metrics),
            behind_tls: self.behind_tls.or(other.behind_tls),
            forwarded_for: self.forwarded_for.or(other.forwarded_for),
            idle_minutes: self.idle_minutes.or(other.idle_minutes),
            session_hours: self.session_hours.or(other.session_hours),
            copies_on_pages: self.copies_on_pages.or(other.copies_on_pages),
            scan,
            scan_with,
        }
    }
}

/// The settings of a running server.
#[derive(Debug, Clone)]
pub struct Settings {
    /// Folder of the database.
    pub data: PathBuf,
    /// Where to listen.
    pub listen: SocketAddr,
    /// Where to answer /metrics, if anywhere.
    pub metrics: Option<SocketAddr>,
    /// Whether a proxy in front speaks HTTPS.
    pub behind_tls: bool,
    /// Whether a proxy in front tells the browser's address.
    pub forwarded_for: bool,
    /// Without use for so long, a session ends.
    pub idle: Duration,
    /// After so long a session ends in any case.
    pub longest: Duration,
    /// Whether instructors may copy the whole school on its pages; not said: while there is one of them.
    pub copies_on_pages: Option<bool>,
    /// What looks through photos and PDFs before they are kept, if anything.
    pub scan: Option<Scan>,
}

/// A program that looks through files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scan {
    /// Its whole path.
    pub program: PathBuf,
    /// Its arguments, always the same.
    pub arguments: Vec<String>,
}

/// Where the server listens unless told otherwise: this machine only.
pub const LISTEN: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(std::net::Ipv4Addr::LOCALHOST), 8080);

impl Settings {
    /// Checks what was given and fills in defaults; `data` is the folder where none is given.
    ///
    /// # Errors
    /// When a value is out of its range.
    pub fn new(given: Given, data: PathBuf) -> Result<Self, SettingError> {
        let idle = in_range(
            "idle_minutes",
            given.idle_minutes.unwrap_or(120),
            1,
            24 * 60,
            "1 to 1440 minutes",
        )?;
        let hours = in_range(
            "session_hours",
            given.session_hours.unwrap_or(12),
            1,
            24 * 7,
            "1 to 168 hours",
        )?;
        Ok(Self {
            data: given.data.unwrap_or(data),
            listen: given.listen.unwrap_or(LISTEN),
            metrics: given.metrics,
            behind_tls: given.behind_tls.unwrap_or(false),
            forwarded_for: given.forwarded_for.unwrap_or(false),
            idle: Duration::from_secs(u64::from(idle) * 60),
            longest: Duration::from_secs(u64::from(hours) * 3600),
            copies_on_pages: given.copies_on_pages,
            scan: scan(given.scan, given.scan_with.unwrap_or_default())?,
        })
    }
}

fn scan(program: Option<PathBuf>, mut arguments: Vec<String>) -> Result<Option<Scan>, SettingError> {
    // Two spaces, or a variable that is empty.
    arguments.retain(|argument| !argument.is_empty());
    match program {
        Some(program) if program.is_absolute() => Ok(Some(Scan { program, arguments })),
        Some(program) => Err(SettingError::Range {
            name: "scan",
            found: program.display().to_string(),
            rule: "the whole path of a program, as in /usr/bin/NAME",
        }),
        None if arguments.is_empty() => Ok(None),
        None => Err(SettingError::Alone {
            name: "scan_with",
            other: "scan",
        }),
    }
}

fn in_range(name: &'static str, value: u32, least: u32, most: u32, rule: &'static str) -> Result<u32, SettingError> {
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        let found = value.to_string();
        Err(SettingError::Range { name, found, rule })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flags_win_over_the_file_and_wrong_values_are_named() {
        let file = Given::from_toml("s.toml", "listen = \"0.0.0.0:9000\"\nidle_minutes = 30\n").unwrap();
        let flags = Given {
            idle_minutes: Some(45),
            ..Given::default()
        };
        let settings = Settings::new(flags.or(file), PathBuf::from("data")).unwrap();
        assert_eq!(settings.listen.port(), 9000);
        assert_eq!(settings.idle, Duration::from_secs(45 * 60));

        let none = Given {
            session_hours: Some(0),
            ..Given::default()
        };
        let error = Settings::new(none, PathBuf::from("data")).unwrap_err();
        assert_eq!(
            error.to_string(),
            "the setting `session_hours` is 0; it must be 1 to 168 hours"
        );
        let typo = Given::from_toml("s.toml", "listne = \"0.0.0.0:9000\"\n")
            .unwrap_err()
            .to_string();
        assert!(typo.contains("s.toml") && typo.contains("listne"), "{typo}");
    }
    #[test]
    fn arguments_go_with_their_program() {
        let file = "scan = \"/bin/one\"\nscan_with = [\"--of one\", \"-\"]\n";
        let file = || Given::from_toml("s.toml", file).unwrap();
        let of = |given: Given| Settings::new(given, PathBuf::from("data")).map(|settings| settings.scan);
        let program = |program: &str, arguments: &[&str]| {
            Some(Scan {
                program: PathBuf::from(program),
                arguments: arguments.iter().map(|&a| a.to_owned()).collect(),
            })
        };
        assert_eq!(of(file()).unwrap(), program("/bin/one", &["--of one", "-"]));
        let flags = |scan: Option<&str>, with: Option<&[&str]>| Given {
            scan: scan.map(PathBuf::from),
            scan_with: with.map(|with| with.iter().map(|&a| a.to_owned()).collect()),
            ..Given::default()
        };
        let of_flags = |scan, with| of(flags(scan, with).or(file())).unwrap();
        assert_eq!(of_flags(Some("/bin/two"), None), program("/bin/two", &[]));
        assert_eq!(of_flags(None, Some(&["", "-v"])), program("/bin/one", &["-v"]));

        assert_eq!(of(flags(None, Some(&[""]))).unwrap(), None);
        let alone = of(flags(None, Some(&["-v"]))).unwrap_err().to_string();
        assert!(alone.contains("`scan_with` is nothing without `scan`"), "{alone}");
        for path in ["look", "./look", ""] {
            let wrong = of(flags(Some(path), None)).unwrap_err().to_string();
            assert!(
                wrong.contains(&format!("`scan` is {path}; it must be the whole path")),
                "{wrong}"
            );
        }
    }
}
