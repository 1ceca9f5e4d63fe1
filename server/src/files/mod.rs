//! The files that a plan leaves: words, data, pictures, scenes. One list for the shell, which writes all of
//! them into a folder, and for the service, which hands out one at a time.

mod draw;

use slitwright_proto::v1::PlanFileKind as Kind;
use slitwright_solver::outputs::pictures::view_titles;

pub use draw::{Bench, FileFault, Missing, Source, draw, draw_all, missing};

/// Most bytes of one file: what viewers in a browser open without trouble (common practice, no source).
pub const MOST_BYTES: usize = 64 << 20;

/// Media types as registered with IANA; `charset` is RFC 6838's and RFC 2046's parameter.
const TEXT: &str = "text/plain; charset=utf-8";
const JSON: &str = "application/json";
const PNG: &str = "image/png";
const HTML: &str = "text/html; charset=utf-8";
const PDF: &str = "application/pdf";
const SVG: &str = "image/svg+xml";
const GLB: &str = "model/gltf-binary";

/// A file that a plan may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FileType {
    /// Its name in a folder.
    pub name: &'static str,
    /// What it shows.
    pub kind: Kind,
    /// Its media type.
    pub media_type: &'static str,
    /// What it shows, in words.
    pub title: &'static str,
    content: Content,
}

/// What is in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Content {
    Words,
    Plan,
    Request,
    /// The picture of this name.
    Picture(&'static str),
    Sections,
    Shell,
    PlanInSpace,
    WayOutPicture,
    WayOutInSpace,
    BenchPage,
    BenchPrint,
    TemplateDrawing,
    TemplatePrint,
}

impl Content {
    fn needs_model(self) -> bool {
        match self {
            Self::Words | Self::Picture(_) | Self::Sections | Self::Shell => true,
            Self::PlanInSpace | Self::BenchPage | Self::BenchPrint => true,
            Self::TemplateDrawing | Self::TemplatePrint => true,
            // A trial has the mesh that was tried.
            Self::Plan | Self::Request | Self::WayOutPicture | Self::WayOutInSpace => false,
        }
    }
}

impl FileType {
    /// Whether it shows the model as it was read.
    pub fn needs_model(&self) -> bool {
        self.content.needs_model()
    }
}

/// All files that a plan may have, in the order in which they are written and listed.
pub fn file_types() -> Vec<FileType> {
    let file = |name, kind, media_type, title, content| FileType {
        name,
        kind,
        media_type,
        title,
        content,
    };
    let mut all = vec![
        file("plan.txt", Kind::Words, TEXT, "The plan in words", Content::Words),
        file("plan.json", Kind::Data, JSON, "The plan for programs", Content::Plan),
        file("request.json", Kind::Data, JSON, "The request that it answers", Content::Request),
    ];
    let views = view_titles().into_iter().zip(VIEWS);
    all.extend(views.map(|((name, title), file_name)| {
        file(file_name, Kind::View, PNG, title, Content::Picture(name))
    }));
    all.extend([
        file(
            "overview.png",
            Kind::Overview,
            PNG,
            "All sides on one page, with the legend",
            Content::Picture("overview"),
        ),
        file("sections.png", Kind::Sections, PNG, "Sections across the cuts", Content::Sections),
        file(
            "shell.png",
            Kind::Shell,
            PNG,
            "Where the rigid shell of a blanket is parted",
            Content::Shell,
        ),
        file(
            "plan.glb",
            Kind::Space,
            GLB,
            "Model, cuts, sheets and outside of the rubber in space",
            Content::PlanInSpace,
        ),
        file(
            "way-out.png",
            Kind::WayOut,
            PNG,
            "The way out of the mould by simulation, moment by moment",
            Content::WayOutPicture,
        ),
        file(
            "way-out.glb",
            Kind::WayOut,
            GLB,
            "The way out of the mould by simulation, animated",
            Content::WayOutInSpace,
        ),
        file(
            "plan.html",
            Kind::Bench,
            HTML,
            "The plan for the bench, for a browser",
            Content::BenchPage,
        ),
        file(
            "plan.pdf",
            Kind::Bench,
            PDF,
            "The plan for the bench, for print",
            Content::BenchPrint,
        ),
        file(
            "template.svg",
            Kind::Template,
            SVG,
            "The outside laid flat at 1:1, where the blade enters",
            Content::TemplateDrawing,
        ),
        file(
            "template.pdf",
            Kind::Template,
            PDF,
            "The outside laid flat at 1:1, on leaves for print",
            Content::TemplatePrint,
        ),
    ]);
    all
}

/// Names of the views' files, in the views' order.
const VIEWS: [&str; 7] =
    ["front.png", "back.png", "left.png", "right.png", "top.png", "below.png", "three-quarter.png"];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_has_a_name_of_its_own_that_tells_its_media_type() {
        let all = file_types();
        assert_eq!(all.len(), 20);
        for (k, file) in all.iter().enumerate() {
            assert!(all[..k].iter().all(|other| other.name != file.name), "{}", file.name);
            let ending = match file.media_type {
                TEXT => ".txt",
                JSON => ".json",
                HTML => ".html",
                PDF => ".pdf",
                SVG => ".svg",
                PNG => ".png",
                GLB => ".glb",
                other => panic!("{other}"),
            };
            let stem = file.name.strip_suffix(ending).expect(file.name);
            if let Content::Picture(name) = file.content {
                assert_eq!(stem, name);
            }
        }
    }
}
