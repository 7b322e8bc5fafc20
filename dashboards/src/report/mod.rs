//! The weekly failure report, as one HTML file that stands alone and as plain text.

mod html;
mod summary;
mod text;

pub use html::render_report_html;
pub use text::render_report_text;
