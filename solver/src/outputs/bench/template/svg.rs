//! A leaf as SVG 1.1, a user unit a millimetre.

use std::fmt::Write;

use maud::{Markup, html};

use crate::outputs::bench::html::base64;
use crate::outputs::bench::marks::{Leaf, Mark};

/// The whole file.
pub(super) fn write(title: &str, leaf: &Leaf) -> String {
    let [width, height] = leaf.size;
    let body = html! {
        svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"
            width={ (number(width)) "mm" } height={ (number(height)) "mm" }
            viewBox={ "0 0 " (number(width)) " " (number(height)) }
        {
            title { (title) }
            rect x="0" y="0" width=(number(width)) height=(number(height)) fill="#fff" {}
            @for mark in &leaf.marks { (drawn(mark)) }
        }
    };
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", body.into_string())
}

fn drawn(mark: &Mark) -> Markup {
    match mark {
        Mark::Line { name, points, width, dash, grey } => {
            let mut path = String::new();
            for (k, [x, y]) in points.iter().enumerate() {
                // Writing to a String cannot fail.
                let _ = write!(
                    path,
                    "{}{} {} ",
                    if k == 0 { "M" } else { "L" },
                    number(*x),
                    number(*y)
                );
            }
            html! {
                path class=(name) d=(path.trim_end()) fill="none" stroke=(if *grey { "#737373" } else { "#000" })
                    stroke-width=(number(*width)) stroke-dasharray=[dash.map(number)] {}
            }
        }
        Mark::Fill { place: [x, y, w, h] } => html! {
            rect x=(number(*x)) y=(number(*y)) width=(number(*w)) height=(number(*h)) fill="#e8e8e8" {}
        },
        Mark::Words { at: [x, y], size, bold, turn, text } => {
            let turned = (*turn != 0.0)
                .then(|| format!("rotate({} {} {})", number(*turn), number(*x), number(*y)));
            html! {
                text x=(number(*x)) y=(number(*y)) font-size=(number(*size)) transform=[turned]
                    font-family="'DejaVu Sans', Verdana, sans-serif"
                    font-weight=(if *bold { "bold" } else { "normal" }) { (text) }
            }
        }
        Mark::Picture { place: [x, y, w, h], png } => html! {
            image x=(number(*x)) y=(number(*y)) width=(number(*w)) height=(number(*h))
                xlink:href={ "data:image/png;base64," (base64(png)) } {}
        },
        Mark::Within { marks, .. } => html! { @for mark in marks { (drawn(mark)) } },
    }
}

/// Thousandths of a millimetre.
fn number(x: f64) -> String {
    let text = format!("{x:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}
