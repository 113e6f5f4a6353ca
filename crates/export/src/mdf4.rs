//! ASAM MDF 4.1: one file, a channel group a table, units and descriptions at each channel.
//!
//! Numbers and flags are stored as they are. Words are stored as numbers with a value-to-text conversion. The first column is
//! the master channel (time) where it is `time`.

use mdf4_rs::blocks::{FileHistoryBlock, MetadataBlock};
use mdf4_rs::writer::VecWriter;
use mdf4_rs::{DataType, DecodedValue, MdfWriter, Result};

use crate::run::ExportedRun;
use crate::table::{ExportColumn, ExportTable, Values};

/// Offsets of links in the header block and in a file history block (ASAM MDF 4.1, ##HD and ##FH).
const HD_HISTORY: u64 = 32;
const HD_COMMENT: u64 = 64;
const FH_COMMENT: u64 = 32;

/// `run.mf4`.
pub(crate) fn file(run: &ExportedRun) -> Result<(String, Vec<u8>)> {
    let mut writer = MdfWriter::in_memory();
    writer.init_mdf_file()?;
    head(&mut writer, run)?;
    for table in &run.tables {
        group(&mut writer, table)?;
    }
    writer.finalize()?;
    Ok(("run.mf4".to_owned(), writer.into_inner().into_inner()))
}

/// Writes the title of the run and the program. The time of writing is the epoch, so that a run gives the same bytes.
fn head(writer: &mut MdfWriter<VecWriter>, run: &ExportedRun) -> Result<()> {
    let title = run.title().replace('&', "&amp;").replace('<', "&lt;");
    let space = "xmlns=\"http://www.asam.net/mdf/v4\"";
    let about = format!("<HDcomment {space}><TX>{title}</TX></HDcomment>");
    let history = format!(
        "<FHcomment {space}><TX>Exported</TX><tool_id>Trimwright</tool_id><tool_vendor>Trimwright</tool_vendor>\
         <tool_version>{}</tool_version></FHcomment>",
        env!("CARGO_PKG_VERSION")
    );
    writer.write_block_with_id(&FileHistoryBlock::new(0).to_bytes()?, "history")?;
    writer.write_block_with_id(&MetadataBlock::new(&history).to_bytes()?, "history_comment")?;
    writer.write_block_with_id(&MetadataBlock::new(&about).to_bytes()?, "comment")?;
    writer.update_block_link("hd_block", HD_HISTORY, "history")?;
    writer.update_block_link("history", FH_COMMENT, "history_comment")?;
    writer.update_block_link("hd_block", HD_COMMENT, "comment")
}

fn group(writer: &mut MdfWriter<VecWriter>, table: &ExportTable) -> Result<()> {
    let group = writer.add_channel_group(None, |_| {})?;
    writer.set_channel_group_name(&group, &table.name)?;
    let (mut last, mut vocabularies) = (None, Vec::new());
    for column in &table.columns {
        let (data_type, bits) = match column.values {
            Values::Numbers(_) => (DataType::FloatLE, 64),
            Values::Flags(_) => (DataType::UnsignedIntegerLE, 8),
            Values::Words(_) => (DataType::UnsignedIntegerLE, 16),
        };
        let channel = writer.add_channel(&group, last.as_deref(), |channel| {
            channel.name = Some(column.name.clone());
            (channel.data_type, channel.bit_count) = (data_type, bits);
        })?;
        writer.set_channel_unit(&channel, &column.unit)?;
        writer.set_channel_comment(&channel, &column.description)?;
        if last.is_none() && column.name == "time" {
            writer.set_time_channel(&channel)?;
        }
        let vocabulary = vocabulary(column);
        if !vocabulary.is_empty() {
            let pairs: Vec<(i64, &str)> = (0..).zip(vocabulary.iter().copied()).collect();
            writer.add_value_to_text_conversion(&pairs, "", Some(&channel))?;
        }
        vocabularies.push(vocabulary);
        last = Some(channel);
    }
    writer.start_data_block_for_cg(&group, 0)?;
    for row in 0..table.rows() {
        let columns = table.columns.iter().zip(&vocabularies);
        let record: Vec<DecodedValue> = columns.map(|(column, words)| value(column, words, row)).collect();
        writer.write_record(&group, &record)?;
    }
    writer.finish_data_block(&group)
}

/// The different words of a column, in order of appearance.
fn vocabulary(column: &ExportColumn) -> Vec<&str> {
    let mut words: Vec<&str> = Vec::new();
    if let Values::Words(all) = &column.values {
        for word in all {
            if !words.contains(&word.as_str()) {
                words.push(word);
            }
        }
    }
    words
}

fn value(column: &ExportColumn, vocabulary: &[&str], row: usize) -> DecodedValue {
    match &column.values {
        Values::Numbers(numbers) => DecodedValue::Float(numbers.get(row).copied().unwrap_or(f64::NAN)),
        Values::Flags(flags) => {
            DecodedValue::UnsignedInteger(flags.get(row).copied().unwrap_or_default().into())
        }
        Values::Words(words) => {
            let place = words.get(row).and_then(|word| vocabulary.iter().position(|known| known == word));
            DecodedValue::UnsignedInteger(place.unwrap_or(vocabulary.len()) as u64)
        }
    }
}
