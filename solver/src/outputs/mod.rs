//! What a person or another program takes away: pictures.

pub mod pictures;
