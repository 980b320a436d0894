// `dryshaft records forget` and `anonymise`: what others need not know.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>
#include <utility>

#include "cli/records.hpp"

namespace dryshaft::cli {
namespace {

struct ShareOptions {
  RecordsOptions records;
  std::string unit;
  std::string key;
};

constexpr std::size_t kLeastKeyBytes = 16;

int forget_unit(const ShareOptions& o) {
  RecordsFiles files(o.records);
  if (!files.open()) {
    return kRejected;
  }
  std::vector<RecordText> texts = files.texts();
  if (std::ranges::find(texts, o.unit, &RecordText::unit_id) == texts.end()) {
    const std::vector<std::string> ids = [&] {
      std::vector<std::string> all;
      std::ranges::transform(texts, std::back_inserter(all), &RecordText::unit_id);
      return all;
    }();
    Diagnostic d;
    d.code = "no-such-unit";
    d.message = fmt::format("no record of the unit \"{}\" is among the records", o.unit);
    d.hint = did_you_mean(o.unit, {ids.begin(), ids.end()});
    files.refuse({d});
    return kRejected;
  }
  return files.code(write_lines(forgotten(std::move(texts), o.unit), o.records.out));
}

int anonymise_files(const ShareOptions& o) {
  std::string key = text_file(o.key).text;
  key.erase(key.find_last_not_of("\r\n") + 1);
  if (key.size() < kLeastKeyBytes) {
    throw Stop{kUsage,
               fmt::format("the key in {} has {} bytes; it takes {} at least, and none that "
                           "anybody would guess",
                           o.key, key.size(), kLeastKeyBytes)};
  }
  RecordsFiles files(o.records);
  if (!files.open()) {
    return kRejected;
  }
  return files.code(write_lines(anonymous(files.texts(), key), o.records.out));
}

}  // namespace

Run add_records_forget(CLI::App& records) {
  auto o = std::make_shared<ShareOptions>();
  CLI::App* app = records.add_subcommand(
      "forget", "Write records anew, one unit's without what its owner wants forgotten");
  app->add_option("UNIT", o->unit, "Id of the unit")->required();
  add_records_options(*app, o->records);
  add_examples(*app,
               {{"All records, those of one unit without notes, photographs and own keys.",
                 "dryshaft records forget HL-0205 --out new.jsonl yard.jsonl"}},
               "Of that unit's records go notes, keys of your own (x_), photographs, and names of "
               "who withdrew a record; what was seen, measured and done stays, with dates and "
               "distances. They have other hashes then; records that name them are rewritten with "
               "them. Replace the old file with the new one, and copies of it elsewhere.");
  return [o] { return forget_unit(*o); };
}

Run add_records_anonymise(CLI::App& records) {
  auto o = std::make_shared<ShareOptions>();
  CLI::App* app = records.add_subcommand(
      "anonymise",
      "Write records for another workshop, with nothing that names a unit or a person");
  app->add_option("--key", o->key,
                  "A file with a secret, 16 bytes at least: with the same one a unit has the same "
                  "id, and without it nobody finds the unit")
      ->required()
      ->type_name("FILE");
  add_records_options(*app, o->records);
  add_examples(*app,
               {{"Records to give away.",
                 "dryshaft records anonymise --key secret.key --out given.jsonl yard.jsonl"}},
               "Ids of units become 16 digits of a keyed hash. Notes, keys of your own (x_), "
               "photographs, reasons and names go. Family, vehicle, dates, distances and what was "
               "seen and done stay, so that every grade is the same: whoever knows a unit's dates "
               "and readings will know it again.");
  return [o] { return anonymise_files(*o); };
}

}  // namespace dryshaft::cli
