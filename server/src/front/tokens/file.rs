//! The tokens' file: TOML, one `[[token]]` for each.
//!
//! ```toml
//! [[token]]
//! name = "studio-viewer"            # shown in logs
//! sha256 = "...64 digits..."        # of the token; `slitwright token add` makes both
//! role = "read"                     # read, write or metrics
//! expires = 2027-01-31              # the last day, UTC; or a moment, 2027-01-31T18:00:00Z
//! most-waiting-plans = 4            # queued or running at once
//! most-model-mib = 512              # files of the models that it sent
//! requests-per-minute = 120
//! ```
//!
//! The last four may be left out: no limit then.

use std::collections::HashSet;
use std::num::NonZeroU32;
use std::time::SystemTime;

use chrono::{DateTime, Days, NaiveDate, NaiveTime};
use serde::Deserialize;

use super::TokenHash;

/// Longest name, characters.
const NAME: usize = 64;

/// What a token may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
#[derive(clap::ValueEnum)]
pub enum Role {
    /// Look at models and plans.
    Read,
    /// Everything on the service.
    Write,
    /// Fetch the metrics, nothing else.
    Metrics,
}

/// A token as the file tells it.
#[derive(Clone, Debug, PartialEq)]
pub struct TokenEntry {
    /// For people and logs.
    pub name: String,
    /// Of the token itself.
    pub hash: TokenHash,
    /// What it may do.
    pub role: Role,
    /// From when it is refused.
    pub expires: Option<SystemTime>,
    /// Most plans that are queued or running at once.
    pub most_waiting_plans: Option<u32>,
    /// Most bytes of the files of models that it sent.
    pub most_model_bytes: Option<u64>,
    /// Most calls a minute.
    pub requests_per_minute: Option<NonZeroU32>,
}

/// A tokens' file that cannot be used. Never quotes the file: it may hold a secret by mistake.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TokenFault {
    /// Missing, or may not be read.
    #[error("cannot be read: {0}")]
    Unreadable(String),
    /// No TOML, or fields that are none.
    #[error("line {line}: {fault}")]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// What is wrong.
        fault: String,
    },
    /// A field that is off.
    #[error("token {name:?}: {fault}")]
    Entry {
        /// Name of the token.
        name: String,
        /// What is wrong and what to do.
        fault: String,
    },
    /// Nothing in it.
    #[error("holds no token: make one with `slitwright token add`")]
    Empty,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    token: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct Entry {
    name: String,
    sha256: String,
    role: Role,
    expires: Option<toml::value::Datetime>,
    most_waiting_plans: Option<u32>,
    most_model_mib: Option<u32>,
    requests_per_minute: Option<NonZeroU32>,
}

/// Reads the text of a tokens' file.
pub fn parse(text: &str) -> Result<Vec<TokenEntry>, TokenFault> {
    let file: File = toml::from_str(text).map_err(|error| TokenFault::Syntax {
        line: error.span().map_or(1, |span| {
            text.bytes().take(span.start).filter(|&byte| byte == b'\n').count() + 1
        }),
        fault: unquoted(error.message()),
    })?;
    let (mut names, mut hashes) = (HashSet::new(), HashSet::new());
    file.token
        .into_iter()
        .map(|entry| {
            let name = entry.name.clone();
            let token = entry.checked().and_then(|token| {
                if !names.insert(token.name.clone()) {
                    return Err("comes twice: choose another name".to_owned());
                }
                if !hashes.insert(token.hash) {
                    return Err("has the sha256 of another token: make a new one".to_owned());
                }
                Ok(token)
            });
            token.map_err(|fault| TokenFault::Entry { name: shown(&name), fault })
        })
        .collect()
}

/// A message of the TOML library without such values that it quotes as may be secrets.
fn unquoted(message: &str) -> String {
    const LONGEST_WORD: usize = 24;
    let line = message.lines().next().unwrap_or_default();
    let parts = line.split(['`', '"']).enumerate().map(|(at, part)| {
        let harmless = part.len() <= LONGEST_WORD && !part.starts_with("slw_");
        if at % 2 == 0 {
            part.to_owned()
        } else if harmless {
            format!("`{part}`")
        } else {
            "a value".to_owned()
        }
    });
    parts.collect()
}

/// A name that is fit for a message: what stands there may be a token put in the wrong place.
fn shown(name: &str) -> String {
    if check_name(name).is_ok() { name.to_owned() } else { "?".to_owned() }
}

/// Refuses names that would be awkward in logs and files.
pub fn check_name(name: &str) -> Result<(), String> {
    let fits = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    if name.is_empty() || name.len() > NAME || !name.chars().all(fits) || name.starts_with("slw_") {
        return Err(format!(
            "the name is unfit: give 1 to {NAME} letters, digits, '-', '_' or '.', and not the \
             token itself"
        ));
    }
    Ok(())
}

impl Entry {
    fn checked(self) -> Result<TokenEntry, String> {
        check_name(&self.name)?;
        Ok(TokenEntry {
            name: self.name,
            hash: TokenHash::from_hex(&self.sha256)
                .ok_or("sha256 is none: give the 64 digits that `slitwright token add` made")?,
            role: self.role,
            expires: self.expires.map(|time| end(&time.to_string())).transpose()?,
            most_waiting_plans: self.most_waiting_plans,
            most_model_bytes: self.most_model_mib.map(|mib| u64::from(mib) << 20),
            requests_per_minute: self.requests_per_minute,
        })
    }
}

/// The moment from which a token is refused: a day is good to its end.
pub fn end(text: &str) -> Result<SystemTime, String> {
    let day = || {
        let next = text.parse::<NaiveDate>().ok()?.checked_add_days(Days::new(1))?;
        Some(next.and_time(NaiveTime::MIN).and_utc())
    };
    let moment = || DateTime::parse_from_rfc3339(text).ok().map(|time| time.to_utc());
    day().or_else(moment).map(SystemTime::from).ok_or_else(|| {
        "expires is no date: give one like 2027-01-31 or 2027-01-31T18:00:00Z".to_owned()
    })
}

/// The entry of a new token, as it stands in the file.
pub fn entry_text(token: &TokenEntry, expires: Option<&str>) -> String {
    use std::fmt::Write as _;
    let role = match token.role {
        Role::Read => "read",
        Role::Write => "write",
        Role::Metrics => "metrics",
    };
    let mut text = format!(
        "\n[[token]]\nname = \"{}\"\nsha256 = \"{}\"\nrole = \"{role}\"\n",
        token.name, token.hash
    );
    let mut line = |key: &str, value: Option<String>| {
        if let Some(value) = value {
            // Writing to a string cannot fail.
            let _ = writeln!(text, "{key} = {value}");
        }
    };
    line("expires", expires.map(str::to_owned));
    line("most-waiting-plans", token.most_waiting_plans.map(|n| n.to_string()));
    line("most-model-mib", token.most_model_bytes.map(|n| (n >> 20).to_string()));
    line("requests-per-minute", token.requests_per_minute.map(|n| n.to_string()));
    text
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    fn entry(lines: &str) -> String {
        format!(
            "[[token]]\nname = \"a\"\nsha256 = \"{}\"\nrole = \"write\"\n{lines}",
            TokenHash::of("t")
        )
    }

    #[test]
    fn every_field_goes_there_and_back() {
        let token = TokenEntry {
            name: "studio-viewer.2".to_owned(),
            hash: TokenHash::of("secret"),
            role: Role::Read,
            expires: Some(end("2027-01-31").expect("a date")),
            most_waiting_plans: Some(4),
            most_model_bytes: Some(512 << 20),
            requests_per_minute: NonZeroU32::new(120),
        };
        let text = format!("# ours{}", entry_text(&token, Some("2027-01-31")));
        assert_eq!(parse(&text).expect("own text"), [token]);
        let bare = parse(&entry("")).expect("the rest may be left out");
        assert_eq!((bare[0].expires, bare[0].requests_per_minute), (None, None));
    }

    #[test]
    fn a_day_is_good_to_its_end_and_a_moment_is_a_moment() {
        let seconds = |text| {
            end(text).expect("a date").duration_since(SystemTime::UNIX_EPOCH).expect("after 1970")
        };
        assert_eq!(seconds("1970-01-01"), Duration::from_secs(86_400));
        assert_eq!(seconds("1970-01-01T02:00:00+01:00"), Duration::from_secs(3600));
        assert!(end("18:00:00").is_err() && end("1970-13-01").is_err());
    }

    #[test]
    fn faults_name_line_and_field_and_quote_no_value() {
        let secret = "slw_0123456789abcdef";
        let sum = TokenHash::of("t").to_string();
        for (text, words) in [
            (entry("requests-per-minute = 0"), "line 5"),
            (entry(&format!("requests-per-minute = \"{secret}\"")), "line 5"),
            (entry("colour = 3"), "colour"),
            (entry("expires = 18:00:00"), "expires"),
            (entry(&format!("oops {secret}")), "line 5"),
            (entry("").replace(&sum, secret), "sha256"),
            (entry("").replace("\"a\"", &format!("\"{secret}\"")), "name"),
            (entry("").replace("\"write\"", &format!("\"{secret}\"")), "line 4"),
            (entry("") + &entry("").replace("\"a\"", "\"b\""), "another token"),
            (entry("") + &entry("").replace(&sum, &TokenHash::of("u").to_string()), "twice"),
            (entry("").replace("role = \"write\"", ""), "role"),
        ] {
            let fault = parse(&text).expect_err(&text).to_string();
            assert!(fault.contains(words), "{fault}");
            assert!(!fault.contains(secret), "{fault}");
        }
    }
}
