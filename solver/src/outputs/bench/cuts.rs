//! The cuts, in the order of the knife, and the rubber that stays uncut.

use super::blade::View;
use super::blocks::{Block, plain};
use crate::outputs::sheet_words;
use crate::outputs::stretches::{Side, Weakness, weaker_side, weakness};
use crate::outputs::whereabouts::Whereabouts;
use crate::outputs::words::{cut_in_short, millimetres, sentence};
use crate::plan::{Cut, Plan, Reason, SheetReport};
use crate::sheets::{Sheet, SheetSettings, Station};

/// All cuts.
pub(super) fn cuts(plan: &Plan, places: &Whereabouts) -> Vec<Block> {
    let mut blocks = vec![Block::Heading("Cuts, in the order of the knife".to_owned())];
    if plan.cuts.is_empty() {
        blocks.push(Block::Text("This plan has no cut.".to_owned()));
        return blocks;
    }
    blocks.push(Block::Text(
        "Each cut is a line on the model, where the point of the blade ends up. Sides are those of the \
         pictures. Go along the stations one by one: set the blade in where the table says, as deep and as \
         slanted as it says. Left and right of a cut are those of one who goes along it and looks at the mould \
         from outside."
            .to_owned(),
    ));
    if plan.sheets.is_none() {
        blocks.push(Block::Loud(
            "The knife's way through the rubber was not worked out: depth and lean are not known."
                .to_owned(),
        ));
    }
    for cut in &plan.cuts {
        one(&mut blocks, plan, cut, places);
    }
    blocks
}

fn one(blocks: &mut Vec<Block>, plan: &Plan, cut: &Cut, places: &Whereabouts) {
    blocks.push(Block::Part(format!("Cut {}: {}", cut.order, cut_in_short(cut))));
    let mut words = vec![format!("Why: {}", sentence(&plain(cut.reason.text())))];
    if let Reason::FreesRing { beyond, .. } = &cut.reason {
        words.push(format!("It frees what lies {}.", places.place(beyond)));
    }
    let Some(report) = &plan.sheets else {
        blocks.push(Block::Items(words));
        return;
    };
    if cut.sheets.is_empty() {
        words.push("No way of the knife to this line was worked out.".to_owned());
    }
    words.extend(sheet_words::of_cut(cut, &report.settings, places));
    blocks.push(Block::Items(words));
    let several = cut.sheets.len() > 1;
    for (index, sheet) in cut.sheets.iter().enumerate() {
        if several {
            blocks.push(Block::Loud(format!("Branch {} of cut {}", index + 1, cut.order)));
        }
        if let Reason::FoldsHinge { skin, .. } = cut.reason {
            let skin = millimetres(skin);
            blocks.push(Block::Text(format!(
                "It is led from within, once the lips of the cut beside it are drawn aside, in shallow passes. Leave the \
                 outermost {skin} of the rubber: that is the hinge. Depths are from the model outward."
            )));
            blocks.extend(stations(sheet, report));
            continue;
        }
        if !cut.kind.is_from_outside() {
            // Its rulings run into the hole, not to the outside.
            let within = "It is led from within, through the opening of the cut beside it";
            let chapter = match cut.reason {
                Reason::CutsBridge { .. } => ": see the chapter on bridges.",
                _ => ", once its lips are drawn aside, the knife laid down meanwhile.",
            };
            blocks.push(Block::Text(format!("{within}{chapter}")));
            continue;
        }
        blocks.extend(ends(sheet, places).map(Block::Items));
        blocks.extend(stations(sheet, report));
    }
}

/// Where the blade enters first and last.
fn ends(sheet: &Sheet, places: &Whereabouts) -> Option<Vec<String>> {
    let open = || sheet.stations.iter().filter(|station| !station.flags.blocked);
    let (first, last) = (open().next()?, open().next_back()?);
    let seen = |station: &Station| places.place(&station.on_outside);
    let mut words = vec![
        format!("Start on the outside: {}; end: {}.", seen(first), seen(last)),
        format!(
            "On the model it runs {}; {} in all.",
            places.between(&first.on_model, &last.on_model),
            millimetres(sheet.length)
        ),
    ];
    if sheet.stations.first().is_some_and(|station| station.flags.blocked) {
        words.push("The model stops the knife at the very start of the line.".to_owned());
    }
    Some(words)
}

fn stations(sheet: &Sheet, report: &SheetReport) -> Option<Block> {
    let view = View::new(&report.skin)?;
    let head = [
        ("Station", 0.10),
        ("Along, mm", 0.12),
        ("Depth, mm", 0.12),
        ("Blade", 0.34),
        ("Mind", 0.32),
    ];
    let mut head: Vec<(String, f64)> =
        head.map(|(words, share)| (words.to_owned(), share)).to_vec();
    head[3].0 = format!("Blade off square to the {}; point goes", view.reference());
    let rows = sheet.listed_stations().enumerate();
    let rows = rows.map(|(k, station)| {
        let depth =
            if station.flags.blocked { "none".to_owned() } else { format!("{:.0}", station.depth) };
        let lean = match view.lean(station) {
            _ if station.flags.blocked => "does not get there".to_owned(),
            Some((_, words)) if words == "square" => words,
            Some((angle, words)) => format!("{angle:.0} degrees, {words}"),
            None => "no length".to_owned(),
        };
        vec![
            (k + 1).to_string(),
            format!("{:.0}", station.along),
            depth,
            lean,
            remarks(station, &report.settings),
        ]
    });
    Some(Block::Table { head, rows: rows.collect() })
}

/// What is wrong at a station, in a few words.
fn remarks(station: &Station, settings: &SheetSettings) -> String {
    let side = match weaker_side(station) {
        Side::Left => "left",
        Side::Right => "right",
    };
    let mut words: Vec<String> = Vec::new();
    match weakness(station, settings) {
        Some(Weakness::Thin | Weakness::Feather) if station.is_behind() => {
            words.push(format!("NO LIP {side}: KNIFE BEHIND MODEL"));
        }
        Some(Weakness::Blocked) => words.push("MODEL STOPS KNIFE".to_owned()),
        Some(Weakness::Feather) => words.push(format!("FEATHER EDGE {side}")),
        Some(Weakness::Thin) => words.push(format!("thin lip {side}")),
        None => {}
    }
    let flags = &station.flags;
    for (holds, what) in [
        (station.turn.is_some(), "turns near model"),
        (flags.beyond_blade, "DEEPER THAN BLADE"),
        (flags.too_sharp, "BENDS TOO SHARPLY"),
        (flags.through_board, "leaves through base"),
    ] {
        if holds {
            words.push(what.to_owned());
        }
    }
    words.join(", ")
}

/// Hinges, which no knife may touch.
pub(super) fn hinges(plan: &Plan, places: &Whereabouts) -> Vec<Block> {
    if plan.hinges.is_empty() {
        return Vec::new();
    }
    let one = |hinge: &crate::plan::Hinge| {
        let skin = hinge.skin.map_or_else(String::new, |skin| {
            format!(
                " Behind it the rubber is cut from within; its outermost {} stay.",
                millimetres(skin)
            )
        });
        let where_to = places.between(&hinge.from, &hinge.to);
        format!("{} wide on the model, {where_to}.{skin}", millimetres(hinge.width))
    };
    vec![
        Block::Heading("Hinges: do NOT cut here".to_owned()),
        Block::Text(
            "This rubber keeps the mould in one piece. Stop the knife before it.".to_owned(),
        ),
        Block::Items(plan.hinges.iter().map(one).collect()),
    ]
}
