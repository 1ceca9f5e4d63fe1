//! Pages for a browser: one file that asks no network for anything.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::blocks::Block;
use crate::outputs::cautions::CAUTIONS_IN_SHORT;

/// Nothing may be loaded or run: what a name smuggled in would find no way out either.
const POLICY: &str = "default-src 'none'; img-src data:; style-src 'unsafe-inline'";

// Printed, the cautions are the foot of a table, which is repeated and has room of its own on every page: what is fixed
// lies on the words there.
const STYLE: &str = "\
body{font:16px/1.45 'DejaVu Sans',Verdana,sans-serif;max-width:62em;margin:0 auto;padding:1em 1em 6em;color:#000;\
background:#fff;overflow-wrap:anywhere}\
.loud{font-weight:bold}h1+.loud{font-size:1.4em}\
.cautions{border:3px solid #000;padding:.2em 1em}\
.mind li{font-weight:bold}\
table{border-collapse:collapse;width:100%;margin:.5em 0 1em}th,td{border:1px solid #777;padding:.2em .5em;\
text-align:left;vertical-align:top}th{background:#e8e8e8}\
figure{margin:1em 0;break-inside:avoid}img{max-width:100%;height:auto}\
@media screen{.always{position:fixed;left:0;right:0;bottom:0;margin:0;padding:.3em 1em;background:#fff;\
border-top:2px solid #000}}.always{\
font-size:.8em}\
tr{break-inside:avoid}h2,h3{break-after:avoid}\
@media print{body{display:table;width:100%;max-width:none;padding:0;font-size:11pt}\
.always{display:table-footer-group;break-inside:avoid}.always span{display:block;border-top:2px solid #000;\
padding:.3em 0}.side img{width:54%}figcaption{font-size:.75em}}@page{margin:12mm}";

/// The whole file.
pub(super) fn page(title: &str, blocks: &[Block]) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                @for block in blocks { (part(block)) }
                p.always { span { (CAUTIONS_IN_SHORT) } }
            }
        }
    }
    .into_string()
}

fn part(block: &Block) -> Markup {
    html! {
        @match block {
            Block::Title(words) => h1 { (words) },
            Block::Heading(words) => h2 { (words) },
            Block::Part(words) => h3 { (words) },
            Block::Loud(words) => p.loud { (words) },
            Block::Text(words) => p { (words) },
            Block::Items(all) => ul { @for words in all { li { (words) } } },
            Block::Steps(all) => ol { @for words in all { li { (words) } } },
            Block::Mind(all) => {
                h2 { "Mind" }
                ul.mind { @for words in all { li { (words) } } }
            },
            Block::Cautions(all) => {
                div.cautions {
                    h2 { "Before you start" }
                    @for (about, words) in all { p { strong { (about) ". " } (words) } }
                }
            },
            Block::Table { head, rows } => {
                table {
                    thead { tr { @for (words, _) in head { th { (words) } } } }
                    tbody { @for row in rows { tr { @for cell in row { td { (cell) } } } } }
                }
            },
            Block::Picture { title, png, size, alone } => {
                figure.side[!alone] {
                    img src={ "data:image/png;base64," (base64(png)) } alt=(title) width=(size[0]) height=(size[1]);
                    figcaption { (title) ". " (CAUTIONS_IN_SHORT) }
                }
            },
        }
    }
}

/// Bytes as text, RFC 4648, section 4.
pub(super) fn base64(bytes: &[u8]) -> String {
    use base64::Engine as _;
    base64::engine::general_purpose::STANDARD.encode(bytes)
}
