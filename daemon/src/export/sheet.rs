//! A table on its way into files. Owns which file a row goes into: one a table as CSV, one a printer and month (UTC)
//! as Parquet.

use super::ExportError;
use super::column::Column;
use super::csv_file::CsvFile;
use super::folder::{Folder, Part, encoded};
use super::month::Month;
use super::parquet_file::ParquetFile;
use crate::entry::PrinterName;
use dwell_analysis::time::Timestamp;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// The forms of an export.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Format {
    /// A text file a table (RFC 4180).
    Csv,
    /// Apache Parquet: a file a table, printer and month, in `key=value` folders.
    Parquet,
}

/// What came of a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Written {
    /// The table's name.
    pub table: &'static str,
    /// Rows in all its files.
    pub n_rows: u64,
    /// Its files; as Parquet none if there are no rows.
    pub n_files: u64,
}

/// Where tables go.
#[derive(Debug)]
pub(super) struct Target<'f> {
    pub(super) format: Format,
    pub(super) folder: &'f mut Folder,
}

/// A table that is being written.
pub(super) struct Sheet<'t, 'f, R> {
    columns: Vec<Column<R>>,
    target: &'t mut Target<'f>,
    open: Option<Open<R>>,
    written: Written,
}

/// The file under way.
struct Open<R> {
    part: Part,
    form: Form<R>,
}

enum Form<R> {
    Csv(CsvFile),
    Parquet(ParquetFile<R>, PrinterName, Month),
}

impl<'t, 'f, R> Sheet<'t, 'f, R> {
    pub(super) fn new(table: &'static str, columns: Vec<Column<R>>, target: &'t mut Target<'f>) -> Self {
        Self { columns, target, open: None, written: Written { table, n_rows: 0, n_files: 0 } }
    }

    /// Adds a row of a printer; `at` says of which month. Rows come printer by printer, each printer's in time order.
    pub(super) fn row(&mut self, printer: &PrinterName, at: Timestamp, row: R) -> Result<(), ExportError> {
        if let Some(done) = self.open.take_if(|open| !open.form.holds(printer, at)) {
            self.close(done)?;
        }
        let open = match self.open.take() {
            Some(open) => open,
            None => self.begin(printer, at)?,
        };
        let open = self.open.insert(open);
        self.written.n_rows += 1;
        let added = match &mut open.form {
            Form::Csv(file) => file.row(printer, &self.columns, &row),
            Form::Parquet(file, ..) => file.row(&self.columns, row),
        };
        added.map_err(|error| open.part.fault(&error))
    }

    /// Ends the last file. A table without rows is a heading alone as CSV, and nothing as Parquet.
    pub(super) fn finish(mut self) -> Result<Written, ExportError> {
        match (self.open.take(), self.target.format) {
            (Some(open), _) => self.close(open)?,
            (None, Format::Csv) => {
                let empty = self.begin_csv()?;
                self.close(empty)?;
            }
            (None, Format::Parquet) => {}
        }
        Ok(self.written)
    }

    fn begin(&mut self, printer: &PrinterName, at: Timestamp) -> Result<Open<R>, ExportError> {
        match self.target.format {
            Format::Csv => self.begin_csv(),
            Format::Parquet => self.begin_parquet(printer, Month::of(at)),
        }
    }

    fn begin_csv(&mut self) -> Result<Open<R>, ExportError> {
        let (part, file) = self.target.folder.begin(&PathBuf::from(format!("{}.csv", self.written.table)))?;
        let form = CsvFile::new(file, &self.columns).map_err(|error| part.fault(&error))?;
        Ok(Open { part, form: Form::Csv(form) })
    }

    fn begin_parquet(&mut self, printer: &PrinterName, month: Month) -> Result<Open<R>, ExportError> {
        let table = self.written.table;
        let folders = [table.to_owned(), format!("printer={}", encoded(printer.as_str())), format!("month={month}")];
        let path = folders.iter().collect::<PathBuf>().join(Path::new(table).with_extension("parquet"));
        let (part, file) = self.target.folder.begin(&path)?;
        let form = ParquetFile::new(file, &self.columns, printer).map_err(|error| part.fault(&error))?;
        Ok(Open { part, form: Form::Parquet(form, printer.clone(), month) })
    }

    fn close(&mut self, open: Open<R>) -> Result<(), ExportError> {
        let Open { part, form } = open;
        let file = form.finish(&self.columns).map_err(|error| part.fault(&error))?;
        self.written.n_files += 1;
        self.target.folder.finish(part, &file)
    }
}

impl<R> Form<R> {
    fn holds(&self, printer: &PrinterName, at: Timestamp) -> bool {
        match self {
            Self::Csv(_) => true,
            Self::Parquet(_, of, month) => of == printer && month.holds(at),
        }
    }

    fn finish(self, columns: &[Column<R>]) -> io::Result<File> {
        match self {
            Self::Csv(file) => file.finish(),
            Self::Parquet(file, ..) => file.finish(columns),
        }
    }
}
