//! Apache Parquet: a file a table, one row group, unknown values null.

use std::sync::Arc;

use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DoubleType};
use parquet::errors::Result;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::{Type, TypePtr};
use serde_json::{Map, Value};

use crate::run::ExportedRun;
use crate::table::{ExportColumn, ExportTable, Values};

/// `NAME.parquet` for each table.
pub(crate) fn files(run: &ExportedRun) -> Result<Vec<(String, Vec<u8>)>> {
    run.tables.iter().map(|table| Ok((format!("{}.parquet", table.name), file(run, table)?))).collect()
}

fn file(run: &ExportedRun, table: &ExportTable) -> Result<Vec<u8>> {
    let fields = table.columns.iter().map(field).collect::<Result<Vec<TypePtr>>>()?;
    let schema = Arc::new(Type::group_type_builder(&table.name).with_fields(fields).build()?);
    let about = [
        ("title", run.title()),
        ("units", by_column(table, |column| &column.unit)),
        ("descriptions", by_column(table, |column| &column.description)),
    ];
    let about = about.map(|(key, value)| KeyValue::new(key.to_owned(), value)).to_vec();
    let properties = WriterProperties::builder()
        .set_created_by(concat!("trimwright version ", env!("CARGO_PKG_VERSION")).to_owned())
        .set_key_value_metadata(Some(about));
    let mut writer = SerializedFileWriter::new(Vec::new(), schema, Arc::new(properties.build()))?;
    let mut group = writer.next_row_group()?;
    for column in &table.columns {
        if let Some(mut place) = group.next_column()? {
            write(&mut place, &column.values)?;
            place.close()?;
        }
    }
    group.close()?;
    writer.into_inner()
}

fn field(column: &ExportColumn) -> Result<TypePtr> {
    let (physical, logical, repetition) = match column.values {
        Values::Numbers(_) => (Physical::DOUBLE, None, Repetition::OPTIONAL),
        Values::Flags(_) => (Physical::BOOLEAN, None, Repetition::REQUIRED),
        Values::Words(_) => (Physical::BYTE_ARRAY, Some(LogicalType::String), Repetition::REQUIRED),
    };
    let field = Type::primitive_type_builder(&column.name, physical);
    field.with_logical_type(logical).with_repetition(repetition).build().map(Arc::new)
}

/// A JSON object of one text a column.
fn by_column(table: &ExportTable, text: impl Fn(&ExportColumn) -> &String) -> String {
    let entry = |column: &ExportColumn| (column.name.clone(), Value::String(text(column).clone()));
    Value::Object(table.columns.iter().map(entry).collect::<Map<_, _>>()).to_string()
}

fn write(place: &mut SerializedColumnWriter<'_>, values: &Values) -> Result<usize> {
    match values {
        Values::Numbers(numbers) => {
            let known: Vec<f64> = numbers.iter().copied().filter(|number| !number.is_nan()).collect();
            let levels: Vec<i16> = numbers.iter().map(|number| i16::from(!number.is_nan())).collect();
            place.typed::<DoubleType>().write_batch(&known, Some(&levels), None)
        }
        Values::Flags(flags) => place.typed::<BoolType>().write_batch(flags, None, None),
        Values::Words(words) => {
            let words: Vec<ByteArray> = words.iter().map(|word| ByteArray::from(word.as_str())).collect();
            place.typed::<ByteArrayType>().write_batch(&words, None, None)
        }
    }
}
