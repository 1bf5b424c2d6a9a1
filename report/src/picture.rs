//! The week in one picture: PNG, 1600 pixels wide, rendered from the same SVG charts.

use typst_render::RenderOptions;

use crate::typeset::{self, Made, Template, Unset};
use crate::view::View;

/// The bytes of the PNG.
pub fn png(view: &View) -> Result<Made<Vec<u8>>, Unset> {
    typeset::made(view, rendered)
}

fn rendered(view: &View) -> Result<Vec<u8>, Unset> {
    let document = typeset::set(Template::Picture, view)?;
    let page =
        document.pages().first().ok_or_else(|| Unset::Refused("the picture has no page".to_owned()))?;
    let options = RenderOptions { pixel_per_pt: PIXELS_PER_POINT.into(), render_bleed: false };
    typst_render::render(page, &options).encode_png().map_err(|refusal| Unset::Refused(refusal.to_string()))
}

/// The template is 800 points wide.
const PIXELS_PER_POINT: f64 = 2.0;
