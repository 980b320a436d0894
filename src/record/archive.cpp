#include "dryshaft/archive.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <nlohmann/json.hpp>
#include <tuple>
#include <unordered_map>

#include "base/complaints.hpp"
#include "base/json_out.hpp"
#include "base/located_json.hpp"
#include "base/sha256.hpp"
#include "dryshaft/table.hpp"
#include "record/columns.hpp"
#include "record/edit.hpp"
#include "record/look.hpp"
#include "record/own.hpp"
#include "record/shape.hpp"

namespace dryshaft {
namespace {

using Ordered = nlohmann::ordered_json;

// "/withdrawn/0/sha256" is the member sha256 of the list's entries.
bool is_member_of(std::string_view list, std::string_view member, std::string_view pointer) {
  if (!pointer.starts_with(list) || !pointer.ends_with(member)) {
    return false;
  }
  const std::string_view between =
      pointer.substr(list.size(), pointer.size() - list.size() - member.size());
  return between.size() > 1 && between.front() == '/' &&
         between.find_first_not_of("0123456789", 1) == std::string_view::npos;
}
bool is_withdrawn_member(Field member, std::string_view pointer) {
  return is_member_of(kWithdrawnPointer, spec(member).pointer, pointer);
}

std::string quoted_json(std::string_view text) {
  return fmt::format("\"{}\"", json_out::inside_string(text));
}

// What one record's text becomes, names of others aside.
using Change = std::function<Edit(const RecordText&, std::string_view, std::string_view)>;

// Changes records, and with them those that name them.
class Changing {
 public:
  Changing(std::vector<RecordText> records, const Change& change)
      : records_(std::move(records)), change_(change), state_(records_.size(), State::open) {
    for (std::size_t i = 0; i < records_.size(); ++i) {
      by_hash_.emplace(records_[i].sha256, i);
      old_.push_back(records_[i].sha256);
    }
  }

  std::vector<RecordText> changed(RecordLines& out) {
    for (std::size_t i = 0; i < records_.size(); ++i) {
      follow(i);
    }
    for (std::size_t i = 0; i < records_.size(); ++i) {
      out.rewritten += records_[i].sha256 != old_[i] ? 1 : 0;
      out.references += std::ranges::any_of(records_[i].names, [&](const std::string& hash) {
        const auto at = by_hash_.find(hash);
        return at != by_hash_.end() && records_[at->second].sha256 != hash;
      });
    }
    return std::move(records_);
  }

 private:
  enum class State : std::uint8_t { open, begun, done };

  // Those that it names first, however long the chain.
  void follow(std::size_t first) {
    std::vector<std::size_t> stack = {first};
    while (!stack.empty()) {
      const std::size_t i = stack.back();
      if (state_[i] == State::open) {
        state_[i] = State::begun;
        for (const std::string& hash : records_[i].names) {
          const auto at = by_hash_.find(hash);
          if (at != by_hash_.end() && state_[at->second] == State::open) {
            stack.push_back(at->second);
          }
        }
        if (stack.back() != i) {
          continue;
        }
      }
      stack.pop_back();
      if (state_[i] == State::begun) {
        state_[i] = State::done;
        write(records_[i]);
      }
    }
  }

  void write(RecordText& record) {
    const std::string text = edited(record.text, [&](std::string_view at, std::string_view json) {
      if (at == spec(Field::replaces).pointer || is_withdrawn_member(Field::withdrawn_sha256, at)) {
        return renamed(json);
      }
      return change_ ? change_(record, at, json) : Edit();
    });
    record.text = on_one_line(text);
    record.sha256 = sha256_hex(record.text);
  }

  Edit renamed(std::string_view json) const {
    const auto at = by_hash_.find(own_text(json));
    if (at == by_hash_.end() || state_[at->second] != State::done) {
      return {};
    }
    return {Edit::To::replace, quoted_json(records_[at->second].sha256)};
  }

  std::vector<RecordText> records_;
  const Change& change_;
  std::vector<State> state_;
  std::vector<std::string> old_;  // hashes
  std::unordered_map<std::string, std::size_t> by_hash_;
};

RecordLines lines_of(std::vector<RecordText> records, const Change& change) {
  RecordLines out;
  for (RecordText& r : Changing(std::move(records), change).changed(out)) {
    out.lines.push_back(std::move(r.text));
  }
  return out;
}

bool is_own(std::string_view pointer) { return own_key(pointer).starts_with(kOwnPrefix); }

// What an owner may want to be forgotten.
bool is_private(std::string_view pointer) {
  return pointer == spec(Field::note).pointer || pointer == spec(Field::photos).pointer ||
         is_member_of(kWorkPointer, spec(Field::work_note).pointer, pointer) ||
         is_withdrawn_member(Field::withdrawn_by, pointer) || is_own(pointer);
}

Ordered entry_of(const Record& record, const Amendment& amendment) {
  const auto key = [](Field field) { return std::string(spec(field).pointer.substr(1)); };
  Ordered entry;
  entry[key(Field::withdrawn_sha256)] = record.sha256;
  entry[key(Field::withdrawn_date)] = date_text(amendment.day);
  entry[key(Field::withdrawn_because)] = amendment.because;
  if (!amendment.by.empty()) {
    entry[key(Field::withdrawn_by)] = amendment.by;
  }
  return entry;
}

Ordered notice_of(std::string_view unit_id, int day) {
  const auto at = [](Field field) {
    return Ordered::json_pointer(std::string(spec(field).pointer));
  };
  Ordered notice;
  notice[at(Field::format)] = kRecordFormat;
  notice[at(Field::unit_id)] = unit_id;
  notice[at(Field::date)] = date_text(day);
  return notice;
}

// A cell of a table: in quotes, whatever it holds.
std::string cell_of(std::string_view text) {
  std::string cell = "\"";
  for (const char c : text) {
    cell += c == '"' ? "\"\"" : std::string(1, c);
  }
  return cell + "\"";
}

}  // namespace

RecordText text_of(Record record) {
  RecordText out{.text = std::move(record.text),
                 .sha256 = std::move(record.sha256),
                 .unit_id = std::move(record.unit_id),
                 .day = day_of(record)};
  if (record.has(Field::odometer_km)) {
    out.odometer_km = record.at(Field::odometer_km).number;
  }
  if (!record.replaces.empty()) {
    out.names.push_back(std::move(record.replaces));
  }
  for (Withdrawn& w : record.withdrawn) {
    out.names.push_back(std::move(w.sha256));
  }
  return out;
}

RecordLines as_lines(std::vector<RecordText> records) { return lines_of(std::move(records), {}); }

RecordLines in_order(std::vector<RecordText> records) {
  RecordLines out;
  const Change none;
  std::vector<RecordText> all = Changing(std::move(records), none).changed(out);
  std::ranges::sort(all, {}, [](const RecordText& r) {
    return std::tuple(std::string_view(r.unit_id), r.day, r.odometer_km.value_or(-1),
                      std::string_view(r.sha256));
  });
  const RecordText* last = nullptr;
  for (RecordText& r : all) {
    if (last != nullptr && last->sha256 == r.sha256) {
      ++out.repeated;
      continue;
    }
    last = &r;
    out.lines.push_back(std::move(r.text));
  }
  return out;
}

RecordLines forgotten(std::vector<RecordText> records, std::string_view unit_id) {
  return lines_of(
      std::move(records), [&](const RecordText& r, std::string_view at, std::string_view) {
        return Edit{.to = r.unit_id == unit_id && is_private(at) ? Edit::To::drop : Edit::To::keep};
      });
}

RecordLines anonymous(std::vector<RecordText> records, std::string_view key) {
  constexpr std::size_t kDigits = 16;
  return lines_of(
      std::move(records), [&](const RecordText& r, std::string_view at, std::string_view) {
        if (at == spec(Field::unit_id).pointer) {
          return Edit{Edit::To::replace,
                      quoted_json(hmac_sha256_hex(key, r.unit_id).substr(0, kDigits))};
        }
        const bool goes = is_private(at) || is_withdrawn_member(Field::withdrawn_because, at);
        return Edit{.to = goes ? Edit::To::drop : Edit::To::keep};
      });
}

Result<Record> find_record(const std::vector<Record>& records, std::string_view prefix) {
  Result<Record> result;
  const Record* found = nullptr;
  for (const Record& r : records) {
    if (!r.sha256.starts_with(prefix) || (found != nullptr && found->sha256 == r.sha256)) {
      continue;
    }
    if (found != nullptr) {
      Diagnostic d;
      d.code = "which-record";
      d.source = r.source;
      d.line = r.line;
      d.message = fmt::format("has a hash that begins with {}, and so has {}:{}", prefix,
                              found->source, found->line);
      d.hint = "name more digits of the hash";
      result.diagnostics.push_back(std::move(d));
      return result;
    }
    found = &r;
  }
  if (found == nullptr) {
    Diagnostic d;
    d.code = "no-such-record";
    d.message = fmt::format("no record has a hash that begins with {}", prefix);
    d.hint = "reports and warnings name the hash of a record; name the file that holds it";
    result.diagnostics.push_back(std::move(d));
    return result;
  }
  result.value = *found;
  return result;
}

std::string withdrawal(const Record& record, const Amendment& amendment) {
  Ordered notice = notice_of(record.unit_id, amendment.day);
  notice[std::string(kWithdrawnPointer.substr(1))] = Ordered::array({entry_of(record, amendment)});
  return json_out::of(notice);
}

std::string replacement(const Record& record, std::string_view text, const Amendment& amendment) {
  std::string out =
      with_member(on_one_line(text), spec(Field::replaces).pointer, quoted_json(record.sha256));
  std::string entries;
  (void)edited(out, [&](std::string_view at, std::string_view json) {
    if (at == kWithdrawnPointer && json.starts_with('[')) {
      entries = json.substr(1, json.size() - 2);
    }
    return Edit();
  });
  const bool none = entries.find('{') == std::string::npos;
  return with_member(out, kWithdrawnPointer,
                     fmt::format("[{}{}{}]", none ? "" : entries, none ? "" : ",",
                                 json_out::of(entry_of(record, amendment))));
}

Result<std::string> with_values(std::string_view text,
                                const std::vector<std::pair<std::string, std::string>>& values,
                                std::string_view source, const ReadOptions& options) {
  Result<std::string> result;
  // As a table reads them, so that a value is written in one way everywhere.
  std::string header;
  std::string row;
  const auto add = [&](std::string_view title, std::string_view cell) {
    header += (header.empty() ? "" : ",") + cell_of(title);
    row += (row.empty() ? "" : ",") + cell_of(cell);
  };
  std::vector<std::string> pointers;
  bool has_unit = false;
  bool has_date = false;
  for (const auto& [name, value] : values) {
    const std::optional<ColumnField> column = column_field(name);
    has_unit = has_unit || (column && column->field->id == Field::unit_id);
    has_date = has_date || (column && column->field->id == Field::date);
    pointers.push_back(column ? pointer_of(*column) : "/" + plain_title(name));
    add(name, value);
  }
  if (!has_unit) {
    add(column_names(spec(Field::unit_id)).back(), "-");
  }
  if (!has_date) {
    add(column_names(spec(Field::date)).back(), "2000-01-01");
  }
  ReadOptions keep = options;
  keep.keep_text = true;
  const Records read = read_table(header + "\n" + row + "\n", source, {}, keep);
  if (read.records.empty()) {
    result.diagnostics = read.diagnostics;
    // Its place is in a table that nobody wrote.
    for (Diagnostic& d : result.diagnostics) {
      d.line = 0;
      d.column = 0;
      d.excerpt.clear();
    }
    return result;
  }
  std::string out(text);
  for (std::size_t i = 0; i < values.size(); ++i) {
    std::optional<std::string> json;
    (void)edited(read.records.front().text, [&](std::string_view at, std::string_view value) {
      json = at == pointers[i] ? std::optional(std::string(value)) : json;
      return Edit();
    });
    const std::optional<ColumnField> column = column_field(values[i].first);
    if (column && column->field->miles_too) {  // it stands in one of the two
      out = with_member(out, pointer_of({column->field, !column->miles}), std::nullopt);
    }
    out = with_member(out, pointers[i], json);
  }
  result.value = std::move(out);
  return result;
}

std::string retirement(std::string_view unit_id, Did did, int day, std::string_view note) {
  Ordered notice = notice_of(unit_id, day);
  Ordered work;
  work[std::string(spec(Field::work_did).pointer.substr(1))] = spec(did).id;
  if (!note.empty()) {
    work[std::string(spec(Field::work_note).pointer.substr(1))] = note;
  }
  notice[std::string(kWorkPointer.substr(1))] = Ordered::array({std::move(work)});
  return json_out::of(notice);
}

}  // namespace dryshaft
