//! Drawings become pictures that mail programs show: SVG to PNG, with the font that is compiled in, so that every machine
//! draws the same and needs none of its own.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};
use thiserror::Error;

/// Points of the picture for one of the drawing: sharp on small screens of high density, still small.
const SCALE: f32 = 1.25;

/// A drawing that cannot become a picture.
#[derive(Debug, Error)]
pub enum PictureError {
    /// Not SVG.
    #[error("drawing the chart: {0}")]
    Drawing(#[from] resvg::usvg::Error),
    /// Nothing to draw on, or a size that cannot be.
    #[error("drawing the chart: a picture of {0} x {1} cannot be made")]
    Size(u32, u32),
    /// The picture could not be packed.
    #[error("packing the chart: {0}")]
    Packing(String),
}

static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    fonts.set_sans_serif_family("DejaVu Sans");
    Arc::new(fonts)
});

/// The picture of a drawing. The same drawing gives the same bytes.
///
/// # Errors
/// [`PictureError`]: no SVG, no size.
pub fn png(svg: &str) -> Result<Vec<u8>, PictureError> {
    let options = Options { fontdb: Arc::clone(&FONTS), ..Options::default() };
    let tree = Tree::from_str(svg, &options)?;
    let size = tree.size().to_int_size();
    let scaled = size.scale_by(SCALE).unwrap_or(size);
    let (width, height) = (scaled.width(), scaled.height());
    let mut pixels = Pixmap::new(width, height).ok_or(PictureError::Size(width, height))?;
    resvg::render(&tree, Transform::from_scale(SCALE, SCALE), &mut pixels.as_mut());
    // Sixteen shades of each colour are enough for lines and words, and pack into half the bytes.
    for shade in pixels.data_mut() {
        *shade = shade.saturating_add(8) / 17 * 17;
    }
    pixels.encode_png().map_err(|error| PictureError::Packing(error.to_string()))
}
