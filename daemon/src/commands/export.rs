//! `export`: the record as files for other programs.

use super::journal::instant;
use super::listing::known_printer;
use super::progress::Bar;
use super::table::Table;
use super::{Failure, output};
use crate::cli::{Export, Place};
use crate::export::{ExportError, Source};

pub(super) fn run(place: &Place, asked: &Export) -> Result<(), Failure> {
    let (from, to) = (instant("--from", asked.from.as_deref())?, instant("--to", asked.to.as_deref())?);
    if let (Some(from), Some(to), true) = (&asked.from, &asked.to, from.zip(to).is_some_and(|(from, to)| from >= to)) {
        return Err(Failure::Asked(format!("--from {from} --to {to}: an earlier --from would be right")));
    }
    let reader = place.reader()?;
    let printer = asked.printer.as_deref().map(|name| known_printer(&reader, name)).transpose()?;
    let source = Source::new(&reader, printer.as_ref(), from, to)?;
    let mut bar = Bar::new("exporting");
    let written = source.export(asked.format, &asked.out, &mut |done, whole| bar.show(done, whole))?;
    drop(bar);
    let mut table = Table::new(&["table", ">rows", ">files"]);
    for written in written {
        table.row([written.table.to_owned(), written.n_rows.to_string(), written.n_files.to_string()]);
    }
    output::text(&table.text("nothing"))
}

impl From<ExportError> for Failure {
    fn from(error: ExportError) -> Self {
        match error {
            ExportError::Taken { .. } => Self::Asked(format!("--out {error}")),
            ExportError::Writing { .. } | ExportError::Store(_) => Self::Work(error.to_string()),
        }
    }
}
