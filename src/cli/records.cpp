// `dryshaft records`: what becomes of a shop's records over the years.
#include "cli/records.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <array>
#include <memory>
#include <utility>

#include "cli/accepted.hpp"
#include "report/words.hpp"

namespace dryshaft::cli {
namespace {

struct ConvertOptions {
  RecordsOptions records;
  std::string to;
};

int merge_files(const RecordsOptions& o) {
  RecordsFiles files(o);
  if (!files.open()) {
    return kRejected;
  }
  return files.code(write_lines(in_order(files.texts()), o.out));
}

int convert_files(const ConvertOptions& o) {
  RecordsFiles files(o.records);
  if (!files.open()) {
    return kRejected;
  }
  if (o.to == "jsonl") {
    return files.code(write_lines(as_lines(files.texts()), o.records.out));
  }
  const TableWritten table = write_table(files.records(), files.read_options());
  files.refuse(table.diagnostics);
  Output output(o.records.out);
  output.write(table.text);
  const int written = output.finish();
  if (table.left_out > 0) {
    warn(fmt::format("dryshaft: {} of {} left out of the table, as said above\n", table.left_out,
                     words::count(files.count(), "record", "records")));
  }
  return files.code(written);
}

}  // namespace

void add_records_options(CLI::App& app, RecordsOptions& o) {
  app.add_option("FILE", o.files, "Records, or tables (.csv); - or no file: standard input");
  add_columns_option(app, o.columns);
  add_out_option(app, o.out);
  add_data_options(app, o.data);
}

bool RecordsFiles::open() {
  const Result<Knowledge> knowledge = load(o_.data);
  if (!knowledge.value) {
    return false;
  }
  options_ = dryshaft::read_options(*knowledge.value);
  options_.keep_text = true;
  Result<ColumnMap> columns = load_columns(o_.columns);
  columns_ = std::move(columns.value).value_or(ColumnMap());
  return !columns.has_errors();
}

void RecordsFiles::each(const std::function<void(Record)>& take) {
  Accepted none({});
  read_each(or_standard_input(o_.files), columns_, options_, none, read_, take);
  refuse(read_.complaints);
}

std::vector<Record> RecordsFiles::records() {
  std::vector<Record> out;
  each([&](Record record) { out.push_back(std::move(record)); });
  return out;
}

std::vector<RecordText> RecordsFiles::texts() {
  std::vector<RecordText> out;
  each([&](Record record) { out.push_back(text_of(std::move(record))); });
  return out;
}

void RecordsFiles::refuse(const std::vector<Diagnostic>& complaints) {
  read_.refused = complain(complaints) || read_.refused;
}

int RecordsFiles::code(int written) const {
  return written != kDone ? written : read_.refused ? int{kRejected} : int{kDone};
}

int write_lines(const RecordLines& lines, const std::optional<std::string>& out) {
  Output output(out);
  for (const std::string& line : lines.lines) {
    output.write(line + "\n");
  }
  const int written = output.finish();
  std::string said =
      fmt::format("dryshaft: {} written", words::count(lines.lines.size(), "record", "records"));
  if (lines.repeated > 0) {
    said += fmt::format("; {} left out, as the text stands here already",
                        words::count(lines.repeated, "record", "records"));
  }
  if (lines.rewritten > 0) {
    said += fmt::format("; {} rewritten, so with another hash", lines.rewritten);
  }
  if (lines.references > 0) {
    said += fmt::format(" ({} to name one of these by its new one)", lines.references);
  }
  warn(said + "\n");
  return written;
}

Run add_records_merge(CLI::App& records) {
  auto o = std::make_shared<RecordsOptions>();
  CLI::App* app = records.add_subcommand(
      "merge", "Bring records of all files together, each once, sorted; also called sort");
  app->alias("sort");
  add_records_options(*app, *o);
  add_examples(
      *app,
      {{"All records of a folder as one file, on a line each.",
        "dryshaft records merge --out all.jsonl records/*.jsonl"},
       {"The records of each unit together, as a long input needs them.",
        "dryshaft records merge yard.jsonl | dryshaft assess --format jsonl"}},
      "Records stand by unit, date and distance, whatever the order of the files. Records "
      "of the same text count once. A record stays as it is, byte for byte; only where it "
      "goes over several lines are its line breaks taken out, which gives it another hash, "
      "and records that name it are rewritten with it. What is broken is reported and left "
      "out.");
  return [o] { return merge_files(*o); };
}

Run add_records_convert(CLI::App& records) {
  auto o = std::make_shared<ConvertOptions>();
  CLI::App* app =
      records.add_subcommand("convert", "Write records as a table, or a table as records");
  take_one_of(*app->add_option("--to", o->to, "Form of the output")->required()->type_name("FORM"),
              {"csv", "jsonl"});
  add_records_options(*app, o->records);
  add_examples(*app,
               {{"A table as records.", "dryshaft records convert --to jsonl examples/intake.csv"},
                {"Records as a table, for a spreadsheet.",
                 "dryshaft records convert --to csv --out intake.csv examples/intake.jsonl"}},
               "A table holds what is read back from it as the same records. A record with more "
               "than that, such as work of another day, is reported and left out.");
  return [o] { return convert_files(*o); };
}

Run add_records(CLI::App& parent) {
  CLI::App* app =
      parent.add_subcommand("records", "Bring records together, put them right, or give them away");
  app->require_subcommand(1);
  const std::array<std::pair<std::string, Run>, 7> below = {{
      {"merge", add_records_merge(*app)},
      {"convert", add_records_convert(*app)},
      {"correct", add_records_correct(*app)},
      {"withdraw", add_records_withdraw(*app)},
      {"retire", add_records_retire(*app)},
      {"forget", add_records_forget(*app)},
      {"anonymise", add_records_anonymise(*app)},
  }};
  add_examples(*app,
               {{"All records of a folder as one file, sorted.",
                 "dryshaft records merge --out all.jsonl records/*.jsonl"},
                {"A unit that was sold leaves the list of what is due.",
                 "dryshaft records retire HL-0203 --on 2026-03-20 --because sold yard.jsonl"}});
  return [=] {
    for (const auto& [name, run] : below) {
      if (app->got_subcommand(name)) {
        return run();
      }
    }
    return int{kUsage};
  };
}

}  // namespace dryshaft::cli
