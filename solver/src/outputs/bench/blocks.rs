//! What pages are made of, whatever they are written as.

use crate::outputs::pictures::Picture;

/// A part of the pages, in reading order.
#[derive(Clone, Debug)]
pub(super) enum Block {
    /// The name of the whole.
    Title(String),
    /// Heading of a chapter.
    Heading(String),
    /// Heading within one.
    Part(String),
    /// Words that nobody may miss.
    Loud(String),
    /// A paragraph.
    Text(String),
    /// Sentences one below the other.
    Items(Vec<String>),
    /// Things to do, one after the other.
    Steps(Vec<String>),
    /// What to mind. Where there is more of it than room before the cautions, the rest follows them.
    Mind(Vec<String>),
    /// Cautions, each with what it is about: on the first page in any case.
    Cautions(Vec<(String, String)>),
    /// Figures under headings.
    Table {
        /// Headings of the columns, each with its share of the width.
        head: Vec<(String, f64)>,
        /// Rows of as many cells.
        rows: Vec<Vec<String>>,
    },
    /// A picture.
    Picture {
        /// What it shows.
        title: String,
        /// As a PNG file.
        png: Vec<u8>,
        /// Width and height, px.
        size: [u32; 2],
        /// Whether it is shown as large as a page allows, across it if need be.
        alone: bool,
    },
}

impl Block {
    /// A picture that was drawn.
    pub fn picture(picture: Picture, alone: bool) -> Self {
        let size = [picture.width, picture.height];
        Self::Picture { title: picture.title, png: picture.png, size, alone }
    }

    /// Areas and volumes as people write them: the words that other outputs share keep to plain letters.
    pub fn raise_powers(&mut self) {
        let raise = |words: &mut String| *words = raised(words);
        match self {
            // A name stays as it was given.
            Self::Title(_) | Self::Picture { .. } => {}
            Self::Heading(words) | Self::Part(words) | Self::Loud(words) | Self::Text(words) => {
                raise(words);
            }
            Self::Items(all) | Self::Steps(all) | Self::Mind(all) => all.iter_mut().for_each(raise),
            Self::Cautions(all) => all.iter_mut().for_each(|(_, words)| raise(words)),
            Self::Table { head, rows } => {
                head.iter_mut().for_each(|(words, _)| raise(words));
                rows.iter_mut().flatten().for_each(raise);
            }
        }
    }
}

/// Words with square and cubic units as a page has them.
pub(super) fn raised(words: &str) -> String {
    let mut text = words.to_owned();
    for unit in ["mm", "cm"] {
        for (power, sign) in [("^2", '²'), ("^3", '³')] {
            text = text.replace(&format!("{unit}{power}"), &format!("{unit}{sign}"));
        }
    }
    text
}

/// Words from outside without what steers a screen or a printer, or turns the direction of text; any white
/// space is one blank.
pub(super) fn plain(words: &str) -> String {
    let turns = |c: char| {
        matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}'
            | '\u{fff0}'..='\u{fffc}' | '\u{fffe}' | '\u{ffff}')
    };
    let letters = words.chars().map(|c| if c.is_control() { ' ' } else { c });
    let text: String = letters.filter(|&c| !turns(c)).collect();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
