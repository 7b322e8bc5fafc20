//! A table's rows of one printer and month as Parquet. The folders name the printer and the month: as columns of the
//! file, too, they would stop readers that take the folders for columns. Rows are gathered into groups of bounded size.

use super::column::{Column, Value};
use crate::entry::PrinterName;
use dwell_analysis::time::Timestamp;
use parquet::basic::{Compression, LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::{Type, TypePtr};
use std::fs::File;
use std::io;
use std::sync::Arc;

/// Rows of a group, which is held in memory until it is whole: 15 MB of readings of two tools. Readers skip whole groups,
/// and smaller ones cost them more.
const GROUP_ROWS: usize = 1 << 16;

pub(super) struct ParquetFile<R> {
    out: SerializedFileWriter<File>,
    /// The group under way.
    rows: Vec<R>,
}

impl<R> ParquetFile<R> {
    /// Begins a file.
    pub(super) fn new(file: File, columns: &[Column<R>], printer: &PrinterName) -> io::Result<Self> {
        let fields = columns.iter().map(field).collect::<Result<_, _>>()?;
        let schema = Type::group_type_builder("row").with_fields(fields).build()?;
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_created_by(concat!("dwellwatch version ", env!("CARGO_PKG_VERSION")).to_owned())
            .set_key_value_metadata(Some(vec![KeyValue::new("printer".to_owned(), printer.to_string())]))
            .build();
        let out = SerializedFileWriter::new(file, Arc::new(schema), Arc::new(properties))?;
        Ok(Self { out, rows: Vec::new() })
    }

    pub(super) fn row(&mut self, columns: &[Column<R>], row: R) -> io::Result<()> {
        self.rows.push(row);
        if self.rows.len() < GROUP_ROWS { Ok(()) } else { self.write_group(columns) }
    }

    /// Ends the file.
    pub(super) fn finish(mut self, columns: &[Column<R>]) -> io::Result<File> {
        self.write_group(columns)?;
        Ok(self.out.into_inner()?)
    }

    fn write_group(&mut self, columns: &[Column<R>]) -> io::Result<()> {
        if self.rows.is_empty() {
            return Ok(());
        }
        let mut group = self.out.next_row_group()?;
        for column in columns {
            let Some(mut out) = group.next_column()? else { break };
            write_column(&mut out, column, &self.rows)?;
            out.close()?;
        }
        group.close()?;
        self.rows.clear();
        Ok(())
    }
}

/// A column's place in the file: whatever it is, it may be unknown.
fn field<R>(column: &Column<R>) -> Result<TypePtr, ParquetError> {
    let (physical, logical) = match column.value {
        Value::Text(_) => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
        Value::Whole(_) => (Physical::INT64, None),
        Value::Number(_) => (Physical::DOUBLE, None),
        Value::Truth(_) => (Physical::BOOLEAN, None),
        Value::Time(_) => (Physical::INT64, Some(LogicalType::timestamp(true, TimeUnit::MILLIS))),
    };
    let field = Type::primitive_type_builder(&column.name, physical).with_repetition(Repetition::OPTIONAL);
    field.with_logical_type(logical).build().map(Arc::new)
}

fn write_column<R>(out: &mut SerializedColumnWriter<'_>, column: &Column<R>, rows: &[R]) -> Result<(), ParquetError> {
    match &column.value {
        Value::Text(value) => write::<ByteArrayType>(out, rows.iter().map(|row| value(row).map(ByteArray::from))),
        Value::Whole(value) => write::<Int64Type>(out, rows.iter().map(value)),
        Value::Number(value) => write::<DoubleType>(out, rows.iter().map(value)),
        Value::Truth(value) => write::<BoolType>(out, rows.iter().map(value)),
        Value::Time(value) => write::<Int64Type>(out, rows.iter().map(|row| value(row).map(Timestamp::as_ms))),
    }
}

/// Writes the values that are known, and for each row whether its is (1) or not (0).
fn write<T: DataType>(
    out: &mut SerializedColumnWriter<'_>,
    values: impl Iterator<Item = Option<T::T>>,
) -> Result<(), ParquetError> {
    let (mut known, mut levels) = (Vec::new(), Vec::new());
    for value in values {
        levels.push(i16::from(value.is_some()));
        known.extend(value);
    }
    out.typed::<T>().write_batch(&known, Some(&levels), None)?;
    Ok(())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::RowAccessor;

    #[test]
    fn rows_go_into_groups_of_bounded_size_and_none_is_lost_between_them() {
        let columns = [Column::whole("n", |row: &i64| Some(*row)), Column::text("none", |_: &i64| None)];
        let n = i64::try_from(GROUP_ROWS).unwrap() * 2 + 1;
        let printer = PrinterName::new("bench").unwrap();
        let mut file = ParquetFile::new(tempfile::tempfile().unwrap(), &columns, &printer).unwrap();
        for row in 0..n {
            file.row(&columns, row).unwrap();
            assert!(file.rows.len() < GROUP_ROWS);
        }
        let file = SerializedFileReader::new(file.finish(&columns).unwrap()).unwrap();
        assert_eq!(file.num_row_groups(), 3);
        let read = file.get_row_iter(None).unwrap().map(|row| row.unwrap().get_long(0).unwrap());
        assert!(read.eq(0..n));
    }
}
