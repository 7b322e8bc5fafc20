//! A table as text: RFC 4180, UTF-8, a heading line, every printer in one file. What is unknown is an empty field.

use super::column::{Column, Value};
use crate::entry::PrinterName;
use crate::stamp;
use csv::{Terminator, Writer, WriterBuilder};
use std::fmt::{Display, Write as _};
use std::fs::File;
use std::io;

/// What is gathered before it goes to the file.
const BUFFER_BYTES: usize = 1 << 16;

pub(super) struct CsvFile {
    out: Writer<File>,
    /// The field under way, held to be used again.
    field: String,
}

impl CsvFile {
    /// Begins a file with its heading.
    pub(super) fn new<R>(file: File, columns: &[Column<R>]) -> io::Result<Self> {
        let mut out = WriterBuilder::new().terminator(Terminator::CRLF).buffer_capacity(BUFFER_BYTES).from_writer(file);
        out.write_field("printer")?;
        for column in columns {
            out.write_field(&column.name)?;
        }
        out.write_record(None::<&[u8]>)?;
        Ok(Self { out, field: String::new() })
    }

    pub(super) fn row<R>(&mut self, printer: &PrinterName, columns: &[Column<R>], row: &R) -> io::Result<()> {
        self.out.write_field(printer.as_str())?;
        for column in columns {
            match &column.value {
                Value::Text(value) => self.out.write_field(value(row).unwrap_or(""))?,
                Value::Whole(value) => self.field(value(row))?,
                Value::Number(value) => self.field(value(row))?,
                Value::Truth(value) => self.field(value(row))?,
                Value::Time(value) => self.field(value(row).map(stamp::write))?,
            }
        }
        Ok(self.out.write_record(None::<&[u8]>)?)
    }

    /// Ends the file.
    pub(super) fn finish(self) -> io::Result<File> {
        self.out.into_inner().map_err(csv::IntoInnerError::into_error)
    }

    fn field(&mut self, value: Option<impl Display>) -> io::Result<()> {
        self.field.clear();
        if let Some(value) = value {
            write!(self.field, "{value}").map_err(io::Error::other)?;
        }
        Ok(self.out.write_field(&self.field)?)
    }
}
