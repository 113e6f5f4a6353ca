//! Results of a fleet as Apache Parquet: one row group, no compression, the same bytes on every machine.

use std::sync::Arc;

use parquet::basic::{ConvertedType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::{Type, TypePtr};

use crate::columns::{COLUMNS, ColumnValue};

/// The bytes of `fleet.parquet`: the columns of [`COLUMNS`] with these rows, and `notes` as the file's key-value metadata.
///
/// ```
/// use parquet::file::reader::{FileReader, SerializedFileReader};
/// use trimwright_control::Strategy;
/// use trimwright_study::fleet::{EngineOutcome, FleetEngine};
/// use trimwright_study::{columns::values, parquet::to_bytes};
/// let outcome = EngineOutcome::Failed("truth vehicle.mass_kg".to_owned());
/// let rows = values(&[FleetEngine { index: 4, learner: Strategy::Kalman, outcome }], 9);
/// let bytes = to_bytes(&rows, &[("seed", "9".to_owned())])?;
/// let read = SerializedFileReader::new(bytes::Bytes::from(bytes))?;
/// assert_eq!(read.metadata().file_metadata().num_rows(), 1);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// When the library fails to write into memory.
pub fn to_bytes(rows: &[Vec<ColumnValue>], notes: &[(&str, String)]) -> Result<Vec<u8>, ParquetError> {
    let notes = notes.iter().map(|(key, value)| KeyValue::new((*key).to_owned(), value.clone())).collect();
    let properties = WriterProperties::builder().set_key_value_metadata(Some(notes)).build();
    let mut bytes = Vec::new();
    let mut file = SerializedFileWriter::new(&mut bytes, schema(rows)?, Arc::new(properties))?;
    let mut group = file.next_row_group()?;
    let mut index = 0;
    while let Some(mut column) = group.next_column()? {
        let values = rows.iter().filter_map(|row| row.get(index));
        match kind(rows, index) {
            Physical::INT64 => {
                let (values, levels) = split(values, |value| match value {
                    ColumnValue::Whole(value) => *value,
                    _ => None,
                });
                column.typed::<Int64Type>().write_batch(&values, Some(&levels), None)?;
            }
            Physical::DOUBLE => {
                let (values, levels) = split(values, |value| match value {
                    ColumnValue::Real(value) => *value,
                    _ => None,
                });
                column.typed::<DoubleType>().write_batch(&values, Some(&levels), None)?;
            }
            _ => {
                let (values, levels) = split(values, |value| match value {
                    ColumnValue::Text(value) => value.as_deref().map(ByteArray::from),
                    _ => None,
                });
                column.typed::<ByteArrayType>().write_batch(&values, Some(&levels), None)?;
            }
        }
        column.close()?;
        index += 1;
    }
    group.close()?;
    file.close()?;
    Ok(bytes)
}

/// The present values, and the definition level of each row: 1 for a value, 0 for none.
fn split<'a, T>(
    values: impl Iterator<Item = &'a ColumnValue>,
    content: impl Fn(&'a ColumnValue) -> Option<T>,
) -> (Vec<T>, Vec<i16>) {
    let all: Vec<Option<T>> = values.map(content).collect();
    let levels = all.iter().map(|value| i16::from(value.is_some())).collect();
    (all.into_iter().flatten().collect(), levels)
}

/// Physical type of a column, from its first row; text for a table without rows.
fn kind(rows: &[Vec<ColumnValue>], index: usize) -> Physical {
    match rows.first().and_then(|row| row.get(index)) {
        Some(ColumnValue::Whole(_)) => Physical::INT64,
        Some(ColumnValue::Real(_)) => Physical::DOUBLE,
        Some(ColumnValue::Text(_)) | None => Physical::BYTE_ARRAY,
    }
}

fn schema(rows: &[Vec<ColumnValue>]) -> Result<TypePtr, ParquetError> {
    let field = |(index, (name, _)): (usize, &(&str, _))| {
        let physical = kind(rows, index);
        let builder = Type::primitive_type_builder(name, physical).with_repetition(Repetition::OPTIONAL);
        let text = physical == Physical::BYTE_ARRAY;
        builder
            .with_converted_type(if text { ConvertedType::UTF8 } else { ConvertedType::NONE })
            .build()
            .map(Arc::new)
    };
    let fields = COLUMNS.iter().enumerate().map(field).collect::<Result<Vec<_>, _>>()?;
    Ok(Arc::new(Type::group_type_builder("engine").with_fields(fields).build()?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::columns::values;
    use crate::fleet::{EngineOutcome, FleetEngine};
    use crate::sample::EngineSample;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::Field;
    use trimwright_control::Strategy;

    #[test]
    fn written_values_are_read_back() {
        let failed = |index| FleetEngine {
            index,
            learner: Strategy::Integral,
            outcome: EngineOutcome::Failed(format!("number {index} is broken")),
        };
        let rows = values(&[failed(0), failed(1), failed(2)], 5);
        let bytes = to_bytes(&rows, &[("seed", "5".to_owned())]).expect("written");
        let reader = SerializedFileReader::new(bytes::Bytes::from(bytes)).expect("a Parquet file");
        let notes = reader.metadata().file_metadata().key_value_metadata().expect("notes");
        assert_eq!((notes[0].key.as_str(), notes[0].value.as_deref()), ("seed", Some("5")));
        let read: Vec<_> = reader.get_row_iter(None).expect("rows").map(|row| row.expect("a row")).collect();
        assert_eq!(read.len(), 3);
        for (index, row) in (0..).zip(&read) {
            let at = |name: &str| {
                row.get_column_iter().find(|(each, _)| *each == name).map(|(_, field)| field.clone())
            };
            assert_eq!(at("engine"), Some(Field::Long(i64::from(index))));
            assert_eq!(
                at("sensor_lag"),
                Some(Field::Double(EngineSample::of(5, index).deviations.sensor_lag))
            );
            assert_eq!(at("failure"), Some(Field::Str(format!("number {index} is broken"))));
            assert_eq!(at("learned_map_rms"), Some(Field::Null));
        }
    }
}
