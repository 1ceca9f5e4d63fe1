//! What the processes that share a database tell each other, by LISTEN and NOTIFY.
//!
//! A message is short, whatever it is about: who sent it, what kind it is, and the job's name. What
//! there is to know is read from the tables.

use crate::store::News;

/// The channel that news goes through.
pub const CHANNEL: &str = "slitwright";

/// A message from `me`; none for what is not sent.
pub fn text(me: &str, news: &News) -> Option<String> {
    match news {
        News::Listening | News::Silence => None,
        News::Queued => Some(format!("{me} queued")),
        News::Orders => Some(format!("{me} orders")),
        News::Job(name) => Some(format!("{me} job {name}")),
    }
}

/// What a message tells; nothing when it is my own, or not one of these.
pub fn read(me: &str, text: &str) -> Option<News> {
    let mut words = text.split(' ');
    if words.next()? == me {
        return None;
    }
    match (words.next()?, words.next()) {
        ("queued", None) => Some(News::Queued),
        ("orders", None) => Some(News::Orders),
        ("job", Some(name)) => Some(News::Job(name.to_owned())),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_told_is_read_by_others_and_fits() {
        let name = format!("plans/{}", uuid::Uuid::new_v4());
        for news in [News::Queued, News::Orders, News::Job(name)] {
            let text = text("me", &news).expect("it is sent");
            // PostgreSQL's documentation, "NOTIFY": shorter than 8000 bytes.
            assert!(text.len() < 100, "{text}");
            assert_eq!(read("other", &text), Some(news));
            assert_eq!(read("me", &text), None);
        }
        for odd in ["", "x", "x y", "x job", "x queued twice"] {
            assert_eq!(read("me", odd), None, "{odd:?}");
        }
    }
}
