//! How large a model is drawn, and what is left round it.

/// Height of the strip with a picture's title, px.
pub(super) const TITLE: f32 = 46.0;
/// Room round the model for numbers and words, px.
pub(super) const MARGIN: f32 = 56.0;

/// Scale, px to the mm, at which the model fits every view with room for words.
pub(super) fn scale_for(extent: [f64; 2], width: f32, height: f32) -> f64 {
    let room = |size: f32| f64::from(size - 2.0 * MARGIN);
    (room(width) / extent[0]).min(room(height) / extent[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The scale is the largest at which the model and its margins fit: one of the two sides is
    /// filled.
    #[test]
    fn the_scale_fills_the_picture() {
        let scale = scale_for([100.0, 50.0], 612.0, 612.0);
        assert!((100.0 * scale + 2.0 * f64::from(MARGIN) - 612.0).abs() < 1e-9);
    }
}
