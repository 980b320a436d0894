// Records as a table that reads back as the same records.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <set>

#include "base/complaints.hpp"
#include "base/utf8.hpp"
#include "dryshaft/table.hpp"
#include "record/cells.hpp"
#include "record/columns.hpp"
#include "record/own.hpp"
#include "record/shape.hpp"

namespace dryshaft {
namespace {

constexpr std::string_view kRowEnd = "\r\n";

const std::string& text_at(const Record& r, Field field) {
  static const std::string none;
  switch (field) {
    case Field::unit_id:
      return r.unit_id;
    case Field::family:
      return r.family;
    case Field::vehicle:
      return r.vehicle;
    case Field::note:
      return r.note;
    case Field::replaces:
      return r.replaces;
    default:
      return none;
  }
}

// A month or a year, as it was given.
std::string month_text(const Value& v) {
  const auto months = static_cast<int>(v.number);
  return v.code == 1 ? fmt::format("{:04}", months / 12)
                     : fmt::format("{:04}-{:02}", months / 12, months % 12 + 1);
}

std::string value_text(const Record& r, const FieldSpec& field) {
  const Value& v = r.at(field.id);
  switch (field.type) {
    case FieldType::text:
    case FieldType::hash:
      return text_at(r, field.id);
    case FieldType::month:
      return month_text(v);
    case FieldType::date:
      return date_text(static_cast<int>(v.number));
    case FieldType::choice:
      return std::string(field.choices[v.code].id);
    case FieldType::choices: {
      std::vector<std::string_view> words;
      for (std::size_t i = 0; i < field.choices.size(); ++i) {
        if ((v.code >> i & 1U) != 0) {
          words.push_back(field.choices[i].id);
        }
      }
      return fmt::format("{}", fmt::join(words, " "));
    }
    case FieldType::flag:
      return std::string(kNoYes[v.code].id);
    case FieldType::number:
      return fmt::format("{}", v.number);
    case FieldType::photos: {
      std::vector<std::string_view> names;
      for (const Photo& photo : r.photos) {
        names.push_back(photo.name);
      }
      return fmt::format("{}", fmt::join(names, "; "));
    }
  }
  return "";
}

std::string works_text(const Record& r) {
  std::vector<std::string_view> words;
  for (const Work& w : r.work) {
    words.push_back(spec(w.did).id);
  }
  return fmt::format("{}", fmt::join(words, "; "));
}

// Of a key at the record itself, which is where a column's value goes.
std::optional<std::string> own_at(const Record& r, std::string_view key) {
  for (const auto& [pointer, json] : r.own) {
    if (pointer.rfind('/') == 0 && own_key(pointer) == key && json.starts_with('"')) {
      return own_text(json);
    }
  }
  return std::nullopt;
}

std::string cell(const std::string& text) {
  std::string out;
  if (!text.empty() && kFormula.find(utf8::decode(text, 0).code) != kFormula.npos) {
    out += '\'';
  }
  for (const char c : text) {
    out += c == '"' ? "\"\"" : std::string(1, c);
  }
  return out.find_first_of("',;\"\t\r\n") == std::string::npos ? out : fmt::format("\"{}\"", out);
}

class TableWriter {
 public:
  TableWriter(const std::vector<Record>& records, const ReadOptions& options)
      : records_(records), options_(options) {}

  TableWritten write() {
    find_columns();
    out_.text = header_;
    for (const Record& r : records_) {
      const std::string row = row_of(r);
      if (holds(r, row)) {
        out_.text += row;
      } else {
        ++out_.left_out;
      }
    }
    return std::move(out_);
  }

 private:
  void find_columns() {
    for (const FieldSpec& f : fields()) {
      const bool wanted = std::ranges::any_of(records_, [&](const Record& r) {
        return f.id != Field::format && (f.required || r.has(f.id));
      });
      if (wanted) {
        fields_.push_back(&f);
        add_title(column_names(f).front());
      }
    }
    has_work_ = std::ranges::any_of(records_, [](const Record& r) { return !r.work.empty(); });
    if (has_work_) {
      add_title(std::string(kWorkPointer.substr(1)));
    }
    std::set<std::string> keys;
    for (const Record& r : records_) {
      for (const auto& [pointer, json] : r.own) {
        if (std::string key = own_key(pointer); own_at(r, key)) {
          keys.insert(std::move(key));
        }
      }
    }
    for (const std::string& key : keys) {
      own_.push_back(key);
      add_title(key);
    }
    header_ += kRowEnd;
  }

  void add_title(const std::string& title) {
    header_ += fmt::format("{}{}", header_.empty() ? "" : ",", cell(title));
  }

  [[nodiscard]] std::string row_of(const Record& r) const {
    std::string row;
    bool is_first = true;
    const auto add = [&](const std::string& text, bool plain = false) {
      row += is_first ? "" : ",";
      row += plain ? text : cell(text);
      is_first = false;
    };
    for (const FieldSpec* f : fields_) {
      add(r.has(f->id) ? value_text(r, *f) : "", f->type == FieldType::number);
    }
    if (has_work_) {
      add(works_text(r));
    }
    for (const std::string& key : own_) {
      add(own_at(r, key).value_or(""));
    }
    return row.append(kRowEnd);
  }

  // Whether the row reads back as the record; complains of what does not.
  bool holds(const Record& r, const std::string& row) {
    const Records read = read_table(header_ + row, r.source, {}, options_);
    const Record none;
    const Record& back = read.records.size() == 1 ? read.records.front() : none;
    bool same = true;
    const auto differs = [&](std::string_view pointer, std::string_view why) {
      same = false;
      Diagnostic d;
      d.code = "not-in-a-table";
      d.source = r.source;
      d.line = r.line;
      d.pointer = pointer;
      d.message = fmt::format("{}: the record is left out", why);
      d.hint = "keep this record as JSON";
      add_complaint(out_.diagnostics, std::move(d));
    };
    if (!r.withdrawn.empty()) {
      differs(kWithdrawnPointer, "is a list, which a table has no column for");
    }
    if (r.work != back.work) {
      differs(kWorkPointer, "says more than the words that a cell holds");
    }
    for (const auto& [pointer, json] : r.own) {
      if (std::ranges::find(back.own, own_key(pointer),
                            [](const auto& o) { return own_key(o.first); }) == back.own.end() ||
          own_at(r, own_key(pointer)) != own_at(back, own_key(pointer))) {
        differs(pointer, "is not a text of the record itself that a cell holds as it is");
      }
    }
    if (back.unit_id.empty() && same) {
      differs("", "cannot be read back from a row");
      return false;
    }
    for (const FieldSpec& f : fields()) {
      const Value& mine = r.at(f.id);
      const Value& its = back.at(f.id);
      const bool equal = mine.observed == its.observed && mine.code == its.code &&
                         mine.number == its.number && text_at(r, f.id) == text_at(back, f.id);
      if (f.id != Field::format && !back.unit_id.empty() &&
          (!equal || (f.id == Field::photos && !std::ranges::equal(r.photos, back.photos, {},
                                                                   &Photo::name, &Photo::name)))) {
        differs(f.pointer, "cannot stand in a cell as it is");
      }
    }
    return same;
  }

  const std::vector<Record>& records_;
  const ReadOptions& options_;
  std::vector<const FieldSpec*> fields_;
  bool has_work_ = false;
  std::vector<std::string> own_;
  std::string header_;
  TableWritten out_;
};

}  // namespace

TableWritten write_table(const std::vector<Record>& records, const ReadOptions& options) {
  return TableWriter(records, options).write();
}

}  // namespace dryshaft
