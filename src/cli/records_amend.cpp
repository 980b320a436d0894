// `dryshaft records correct`, `withdraw` and `retire`: they add a record, and change none.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>
#include <utility>

#include "cli/records.hpp"
#include "record/look.hpp"
#include "record/withdrawn.hpp"

namespace dryshaft::cli {
namespace {

struct AmendOptions {
  RecordsOptions records;
  std::string hash;
  std::string unit;
  std::string on;
  std::string because;
  std::string by;
  std::optional<std::string> note;
  std::vector<std::string> set;
  std::optional<std::string> with;
  std::optional<std::string> append;
};

// The words of `retire --because`, by the ids of the work: "sold" of "unit-sold".
constexpr std::string_view kUnitWord = "unit-";

std::vector<std::string> ways_to_leave() {
  std::vector<std::string> words;
  for (std::size_t did = 0; did < kDidCount; ++did) {
    if (leaves_care(static_cast<Did>(did))) {
      words.emplace_back(spec(static_cast<Did>(did)).id.substr(kUnitWord.size()));
    }
  }
  return words;
}

class Amending {
 public:
  explicit Amending(const AmendOptions& options) : o_(options), files_(options.records) {}

  int correct() {
    if (o_.set.empty() == !o_.with) {
      throw Stop{kUsage, "correct takes --set, or --with: one of the two"};
    }
    return amend([&](const Record& record, const Amendment& a) -> std::optional<std::string> {
      const std::optional<std::string> text = o_.with ? other_text() : set_values(record);
      return text ? std::optional(replacement(record, *text, a)) : std::nullopt;
    });
  }

  int withdraw() {
    return amend([](const Record& record, const Amendment& a) {
      return std::optional(withdrawal(record, a));
    });
  }

  int retire() {
    const int day = *day_of("--on", o_.on);
    if (!files_.open()) {
      return kRejected;
    }
    const std::vector<Record> records = files_.records();
    const Record* newest = nullptr;
    std::vector<std::string_view> ids;
    for (const Record& r : records) {
      ids.push_back(r.unit_id);
      if (r.unit_id == o_.unit && !is_notice(r) &&
          (newest == nullptr || dryshaft::day_of(r) > dryshaft::day_of(*newest))) {
        newest = &r;
      }
    }
    Diagnostic d;
    if (newest == nullptr) {
      d.code = "no-such-unit";
      d.message = fmt::format("no inspection of the unit \"{}\" is among the records", o_.unit);
      d.hint = did_you_mean(o_.unit, ids);
    } else if (dryshaft::day_of(*newest) > day) {
      d.code = "looked-at-since";
      d.source = newest->source;
      d.line = newest->date_line;
      d.column = newest->date_column;
      d.pointer = spec(Field::date).pointer;
      d.message = fmt::format("is {}, after {}: the unit was looked at after it left",
                              date_text(dryshaft::day_of(*newest)), date_text(day));
      d.hint = "name the day on which it left after that";
    } else {
      const auto ways = ways_to_leave();
      const auto way = std::ranges::find(ways, o_.because) - ways.begin();
      const auto did = static_cast<Did>(kDidCount - ways.size() + static_cast<std::size_t>(way));
      return add(retirement(o_.unit, did, day, o_.note.value_or("")));
    }
    files_.refuse({d});
    return kRejected;
  }

 private:
  template <typename Write>
  int amend(const Write& write) {
    const Amendment amendment{*day_of("--on", o_.on), o_.because, o_.by};
    std::string hash = o_.hash;
    std::ranges::transform(hash, hash.begin(), [](unsigned char c) { return std::tolower(c); });
    if (hash.size() < kLeastHashDigits ||
        hash.find_first_not_of("0123456789abcdef") != std::string::npos) {
      throw Stop{kUsage,
                 fmt::format("\"{}\" is no hash of a record, nor the first {} digits of one",
                             o_.hash, kLeastHashDigits)};
    }
    if (!files_.open()) {
      return kRejected;
    }
    std::vector<Record> records = files_.records();
    const Result<Record> found = find_record(records, hash);
    files_.refuse(found.diagnostics);
    if (!found.value || taken_out(*found.value, std::move(records))) {
      return kRejected;
    }
    const std::optional<std::string> text = write(*found.value, amendment);
    return text ? add(*text) : int{kRejected};
  }

  // It counts for nothing already.
  bool taken_out(const Record& record, std::vector<Record> records) {
    const Result<std::vector<History>> units = group_by_unit(std::move(records));
    for (const History& unit : *units.value) {
      for (const TakenOut& t : unit.taken_out) {
        if (t.record.sha256 == record.sha256) {
          Diagnostic d;
          d.code = "counts-for-nothing";
          d.source = record.source;
          d.line = record.line;
          d.message = fmt::format("was {} already", t.replaced ? "replaced" : "withdrawn");
          d.hint = t.replaced ? "correct or withdraw the record that took its place" : "";
          files_.refuse({d});
          return true;
        }
      }
    }
    return false;
  }

  std::optional<std::string> set_values(const Record& record) {
    std::vector<std::pair<std::string, std::string>> values;
    for (const std::string& set : o_.set) {
      const std::size_t equals = set.find('=');
      if (equals == std::string::npos || equals == 0) {
        throw Stop{kUsage, fmt::format("--set is \"{}\", not NAME=VALUE", set)};
      }
      values.emplace_back(set.substr(0, equals), set.substr(equals + 1));
    }
    const Result<std::string> text =
        with_values(record.text, values, "--set", files_.read_options());
    files_.refuse(text.diagnostics);
    return text.value;
  }

  std::optional<std::string> other_text() {
    LineSource source(*o_.with);
    const std::string text = source.rest(kChangedFile);
    if (!source.error().empty()) {
      files_.refuse({input_complaint(source)});
      return std::nullopt;
    }
    const Records read = read_records(text, source.name(), files_.read_options());
    files_.refuse(read.diagnostics);
    if (read.rejected != 0 || read.records.size() > 1) {
      Diagnostic d;
      d.code = "which-record";
      d.source = source.name();
      d.message = fmt::format("holds {} records that can be used, and {} that cannot",
                              read.records.size(), read.rejected);
      d.allowed = "one record";
      files_.refuse({d});
      return std::nullopt;
    }
    return read.records.empty() ? std::nullopt : std::optional(read.records.front().text);
  }

  int add(const std::string& text) {
    const Result<Record> read = read_record(text, "<new record>", 1, 1, files_.read_options());
    files_.refuse(read.diagnostics);
    if (!read.value) {
      return kRejected;
    }
    if (!o_.append) {
      Output output(o_.records.out);
      output.write(text + "\n");
      return files_.code(output.finish());
    }
    if (is_table(*o_.append)) {
      throw Stop{kUsage, "--append takes a file of JSON, not a table"};
    }
    LineSource source(*o_.append);
    std::string all = source.rest(kChangedFile);
    if (!source.error().empty()) {
      files_.refuse({input_complaint(source)});
      return kRejected;
    }
    all += all.empty() || all.ends_with('\n') ? "" : "\n";
    all += text + "\n";
    const Records again = read_records(all, source.name(), files_.read_options());
    if (again.records.empty() || again.records.back().sha256 != read.value->sha256) {
      Diagnostic d;
      d.code = "not-records";
      d.source = source.name();
      d.message = "is not written so that a record can stand at its end";
      d.hint = "name a file of JSON, or write to a new one with --out";
      files_.refuse({d});
      return kRejected;
    }
    Output output(o_.append, Output::Inputs::may_replace);
    output.write(all);
    return files_.code(output.finish());
  }

  const AmendOptions& o_;
  RecordsFiles files_;
};

void add_append_option(CLI::App& app, std::optional<std::string>& append) {
  app.add_option("--append", append,
                 "Put the new record at the end of this file of JSON, and write nothing else")
      ->type_name("FILE")
      ->excludes("--out");
}

void add_amend_options(CLI::App& app, AmendOptions& o) {
  app.add_option("HASH", o.hash,
                 "SHA-256 of the record as reports and warnings name it, or its first digits, 8 at "
                 "least")
      ->required();
  app.add_option("--on", o.on, "The day of this")->required()->type_name("DATE");
  app.add_option("--because", o.because, "Why, as the unit's reports say it")
      ->required()
      ->type_name("WHY");
  app.add_option("--who", o.by, "Who says so")->required()->type_name("NAME");
  add_records_options(app, o.records);
  add_append_option(app, o.append);
}

}  // namespace

Run add_records_correct(CLI::App& records) {
  auto o = std::make_shared<AmendOptions>();
  CLI::App* app = records.add_subcommand(
      "correct", "Write a record that takes the place of a wrong one, which stays");
  app->add_option("--set", o->set,
                  "A value of the new record, as a table names and writes it; none after =: not "
                  "observed; repeatable")
      ->allow_extra_args(false)
      ->type_name("NAME=VALUE");
  app->add_option("--with", o->with, "A file with the new record, where --set is not enough")
      ->type_name("FILE");
  add_amend_options(*app, *o);
  add_examples(*app,
               {{"A slip of the pen in the reading.",
                 "dryshaft records correct afac538f --set odometer_km=70339 --on 2026-03-20 "
                 "--because \"digits swapped\" --who desk yard.jsonl"}},
               "The record that is corrected counts for nothing: its unit's reports say so, and "
               "what it had shown for the worse.");
  return [o] { return Amending(*o).correct(); };
}

Run add_records_withdraw(CLI::App& records) {
  auto o = std::make_shared<AmendOptions>();
  CLI::App* app = records.add_subcommand(
      "withdraw", "Write that a record counts for nothing, such as one of another unit");
  add_amend_options(*app, *o);
  add_examples(
      *app,
      {{"An inspection that was written down for the wrong unit.",
        "dryshaft records withdraw 8863db65 --on 2026-03-20 --because misread --who desk "
        "--append yard.jsonl yard.jsonl"}},
      "The record stays in its file. Its unit's reports say that it was withdrawn, by whom "
      "and why, and what it had shown for the worse. Withdraw the withdrawal, and the "
      "record counts again.");
  return [o] { return Amending(*o).withdraw(); };
}

Run add_records_retire(CLI::App& records) {
  auto o = std::make_shared<AmendOptions>();
  CLI::App* app = records.add_subcommand(
      "retire", "Write that a unit left your care, so that nothing is listed as due");
  app->add_option("UNIT", o->unit, "Id of the unit")->required();
  app->add_option("--on", o->on, "The day of this")->required()->type_name("DATE");
  take_one_of(*app->add_option("--because", o->because, "Why, as the unit's reports say it")
                   ->required()
                   ->type_name("WHY"),
              ways_to_leave());
  app->add_option("--note", o->note, "More about it")->type_name("WORDS");
  add_records_options(*app, o->records);
  add_append_option(*app, o->append);
  add_examples(*app,
               {{"A unit that was sold.",
                 "dryshaft records retire HL-0204 --on 2026-03-20 --because sold yard.jsonl"}},
               "An inspection of a later day brings the unit back.");
  return [o] { return Amending(*o).retire(); };
}

}  // namespace dryshaft::cli
