//! The failure report of a week or of any other days: one page that is read in two minutes, then what it rests on. As
//! one HTML file that stands alone, as a page of the site, for mail programs, and as plain text.

mod body;
mod brief;
mod html;
mod mail;
mod modes;
mod pareto;
mod section;
mod sections;
mod summary;
mod text;

pub(crate) use body::body;
pub use html::render_report_html;
pub use mail::render_report_mail;
pub use text::render_report_text;
