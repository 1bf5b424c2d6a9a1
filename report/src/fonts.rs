//! The fonts of pages and charts.

/// The bundled regular font.
pub const REGULAR: &[u8] = include_bytes!("../fonts/DejaVuSans.ttf");

/// The bundled bold font.
pub const BOLD: &[u8] = include_bytes!("../fonts/DejaVuSans-Bold.ttf");

/// The bundled font for Chinese, Japanese and Korean, in one weight: what people type, the other two don't have.
pub const WIDE: &[u8] = include_bytes!("../fonts/DroidSansFallback.ttf");
