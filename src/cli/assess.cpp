#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <cstdint>
#include <cstdlib>
#include <memory>
#include <set>
#include <unordered_map>
#include <utility>

#include "base/complaints.hpp"
#include "base/utf8.hpp"
#include "cli/accepted.hpp"
#include "cli/cli.hpp"
#include "cli/letters.hpp"
#include "cli/parallel.hpp"
#include "cli/photos.hpp"
#include "cli/seen_units.hpp"
#include "cli/summary.hpp"
#include "record/own.hpp"
#include "record/pieces.hpp"
#include "record/shape.hpp"
#include "report/words.hpp"

namespace dryshaft::cli {
namespace {

struct AssessCommandOptions {
  std::vector<std::string> files;
  std::string audience = "technician";
  bool buying = false;
  std::string format = "text";
  bool format_given = false;
  std::optional<std::string> units;
  std::string colour = "auto";
  std::optional<std::string> out;
  std::optional<std::string> columns;
  std::optional<std::string> fail_on;
  std::optional<std::string> today;
  std::optional<std::string> since;
  std::optional<std::string> due;
  std::optional<double> due_at;
  std::vector<std::string> show;
  std::optional<std::string> letters;
  std::optional<std::string> photos;
  bool full = false;
  bool explain = false;
  std::optional<unsigned> jobs;
  std::optional<std::string> accepted;
  std::optional<std::string> summary;
  DataOptions data;
};

class Command {
 public:
  explicit Command(const AssessCommandOptions& options)
      : o_(options), known_(options.accepted), summary_("assess", options.summary) {}

  int run() {
    assess_.today = day_of("--today", o_.today);
    wanted_.worse_since = day_of("--since", o_.since);
    wanted_.due_by_date = day_of("--due", o_.due);
    if (o_.due_at) {
      wanted_.due_by_km = *o_.due_at * (units() == Units::mi ? kKmPerMile : 1);
    }
    check_show();
    if (o_.explain && o_.format != "text") {
      throw Stop{kUsage, "--explain goes with --format text"};
    }
    assess_.audience = o_.audience == "owner" ? Audience::owner : Audience::technician;
    if (o_.buying && assess_.audience != Audience::owner) {
      throw Stop{kUsage, "--buying goes with --for owner"};
    }
    if (o_.letters && (o_.buying || o_.format == "jsonl")) {
      throw Stop{kUsage, o_.buying ? "--letters goes without --buying: a letter is for the owner"
                                   : "--letters goes with any --format but jsonl"};
    }
    if (o_.photos && !shows_photos()) {
      throw Stop{kUsage, "--photos goes with --format html, or with --letters of pages"};
    }
    check_photos(o_.photos);
    keep_apart("--out", o_.out, "--summary", o_.summary);
    assess_.buying = o_.buying;
    Result<Knowledge> loaded = load(o_.data);
    Result<ColumnMap> columns = loaded.value ? load_columns(o_.columns) : Result<ColumnMap>();
    if (!columns.value || !known_.usable()) {
      summary_.because(kRejected, std::string(kWhyData));
      return summary_.finish();
    }
    grader_.emplace(std::move(*loaded.value));
    reading_ = known_.options(grader_->read_options());
    columns_ = std::move(*columns.value);
    summary_.units = 0;
    summary_.overdue = 0;
    summary_.grades.emplace();
    Output output(o_.out);
    if (o_.format == "jsonl") {
      stream(output);
    } else {
      batch(output);
    }
    const int written = output.finish();
    const int letters = o_.letters ? write_letters() : kDone;
    return outcome(written != kDone || letters != kDone);
  }

 private:
  [[nodiscard]] Units units() const { return units_of(o_.units); }

  int outcome(bool not_written) {
    if (assess_.today) {
      summary_.as_of = date_text(*assess_.today);
    }
    summary_.accepted = known_.number();
    summary_.because(not_written ? kOutput : kDone, std::string(kWhyOutput));
    summary_.because(rejected_ ? kRejected : kDone, std::string(kWhyRejected));
    summary_.because(
        failed_on_ > 0 ? kFailOn : kDone,
        fmt::format("{} graded {} or worse", words::count(failed_on_, "unit was", "units were"),
                    o_.fail_on.value_or("")));
    return summary_.finish();
  }

  // ------------------------------------------------------ the shop's own keys

  void check_show() {
    for (const std::string& key : o_.show) {
      if (!key.starts_with(kOwnPrefix)) {
        throw Stop{kUsage, fmt::format("--show takes keys of your own, which begin with {}, not "
                                       "\"{}\"",
                                       kOwnPrefix, key)};
      }
      if (std::ranges::find(wanted_.own, key) == wanted_.own.end()) {
        wanted_.own.push_back(key);
      }
    }
    if (!o_.show.empty() && o_.format.starts_with("json")) {
      throw Stop{kUsage, "--show goes with --format text, markdown, html or csv"};
    }
    assess_.own = wanted_.own;
  }

  // A key that no record has is likelier a slip than a column of blanks.
  void tell_of_unknown(const std::vector<History>& histories) const {
    if (wanted_.own.empty() || histories.empty()) {
      return;
    }
    std::set<std::string> keys;
    for (const History& h : histories) {
      for (const std::vector<Record>* records : {&h.records, &h.set_aside}) {
        for (const Record& r : *records) {
          for (const auto& [pointer, json] : r.own) {
            keys.insert(own_key(pointer));
          }
        }
      }
    }
    const std::vector<std::string_view> known(keys.begin(), keys.end());
    for (const std::string& key : wanted_.own) {
      if (!keys.contains(key)) {
        std::string hint = did_you_mean(key, known, ", ");
        if (hint.empty()) {
          hint = known.empty() ? "; none has a key of your own"
                               : fmt::format("; there are: {}", fmt::join(known, ", "));
        }
        constexpr std::size_t kMost = 1000;  // characters
        warn(utf8::harmless(fmt::format("dryshaft: no record has the key \"{}\"{}", key, hint),
                            kMost) +
             "\n");
      }
    }
  }

  // ---------------------------------------------------------------- letters

  void choose_letters(const std::vector<Report>& reports) {
    for (std::size_t i = 0; i < reports.size(); ++i) {
      if (is_wanted(reports[i], wanted_)) {
        owners_.add(i, reports[i]);
      }
    }
  }

  [[nodiscard]] std::string form_of_letters() const {
    return o_.format == "markdown" ? "md" : o_.format == "text" && o_.format_given ? "txt" : "html";
  }

  int write_letters() {
    Letters letters = {*o_.letters, form_of_letters(), units(), o_.jobs.value_or(1), assess_, {}};
    std::vector<std::vector<Diagnostic>> complaints(histories_.size());
    if (letters.ending == "html") {
      letters.shown = [&](std::size_t i) {
        return has_photos(histories_[i]) ? with_photos(histories_[i], complaints[i])
                                         : histories_[i];
      };
    }
    const int code = cli::write_letters(letters, *grader_, histories_, owners_);
    if (o_.format != "html") {  // else the page has said it
      for (const std::vector<Diagnostic>& c : complaints) {
        (void)complain(c);
      }
    }
    return code;
  }

  // ------------------------------------------------------------ photographs

  [[nodiscard]] bool shows_photos() const {
    return o_.format == "html" || (o_.letters && form_of_letters() == "html");
  }

  // Of one letter: another one has room of its own.
  [[nodiscard]] History with_photos(History unit, std::vector<Diagnostic>& complaints) const {
    std::size_t room = kMaxPhotosShown;
    complaints = hand_in_photos(unit, room, photo_files(o_.photos));
    return unit;
  }

  // Of the page of all units: one after the other, so that the same ones find room.
  void take_photos() {
    std::size_t room = kMaxPhotosOnPage;
    for (History& unit : histories_) {
      if (has_photos(unit)) {
        (void)complain(hand_in_photos(unit, room, photo_files(o_.photos)));
      }
    }
  }

  void take_complaints(const std::vector<Diagnostic>& diagnostics) {
    if (!diagnostics.empty()) {
      progress_->clear();
    }
    for (const Diagnostic& d : diagnostics) {
      rejected_ = rejected_ || d.severity == Severity::error;
      if (said_.lists(d)) {
        warn(to_text(d));
      }
    }
  }

  // What is reported counts; `units` has been counted before.
  void judge_exit(Grade grade, bool overdue) {
    if (o_.fail_on && severity(grade) >= severity(*grade_named(*o_.fail_on))) {
      ++failed_on_;
    }
    ++(*summary_.grades)[static_cast<std::size_t>(grade)];
    *summary_.overdue += overdue ? 1 : 0;
  }

  // ---------------------------------------------------- everything at once

  void batch(Output& output) {
    Batch batch;
    UnitsRead read = read_units(or_standard_input(o_.files), columns_, grader_->read_options(),
                                known_, assess_.today);
    rejected_ = read.refused;
    summary_.count(read);
    batch.accepted = read.accepted;
    batch.rejected = std::move(read.complaints);
    batch.rejected_records = read.rejected;
    batch.rejected_at_least = read.rejected_at_least;
    histories_ = std::move(read.histories);
    tell_of_unknown(histories_);
    if (o_.format == "html") {
      take_photos();
    }
    if (!assess_.today) {
      assess_.today = newest_date(histories_);
    }
    batch.today = assess_.today ? date_text(*assess_.today) : "";
    const std::size_t units = histories_.size();
    batch.reports.resize(units);
    Progress progress;
    std::atomic<std::size_t> done{0};
    in_parallel(units, o_.jobs.value_or(1), [&](std::size_t i) {
      batch.reports[i] = grader_->report(histories_[i], assess_);
      progress.at(++done, units, "units");
    });
    progress.end();
    choose_letters(batch.reports);
    choose(batch);
    for (const Report& r : batch.reports) {
      judge_exit(r.grade, r.overdue());
    }
    rank(batch.reports, wanted_);
    write(output, batch);
  }

  void choose(Batch& batch) const {
    batch.wanted = wanted_;
    std::erase_if(batch.reports, [&](const Report& r) {
      if (is_wanted(r, wanted_)) {
        return false;
      }
      ++batch.left_out;
      batch.left_out_new += wanted_.worse_since && !grade_on(r, *wanted_.worse_since) ? 1 : 0;
      return true;
    });
  }

  void write(Output& output, const Batch& batch) {
    const Units units = this->units();
    const TextStyle style{
        .colour = coloured(), .width = 80, .units = units, .full = o_.full || o_.explain};
    const bool one =
        batch.reports.size() == 1 && batch.rejected_records == 0 && wanted_.everything();
    if (o_.format == "json") {
      for (const Report& r : batch.reports) {
        output.write(to_json(r, wanted_));
      }
    } else if (o_.format == "csv") {
      output.write(csv_header(wanted_));
      for (const Report& r : batch.reports) {
        output.write(to_csv(r, wanted_));
      }
    } else if (o_.format == "html") {
      output.write(one ? to_html(batch.reports.front(), units) : to_html(batch, units, o_.full));
    } else if (o_.format == "markdown") {
      several(output, batch, one, to_markdown(batch, units),
              [&](const Report& r) { return to_markdown(r, units, style.full); });
    } else {
      several(output, batch, one, to_text(batch, style), [&](const Report& r) {
        return to_text(r, style) +
               (o_.explain ? explain(r, grader_->knowledge(), style.width) : std::string());
      });
    }
  }

  template <typename Each>
  void several(Output& output, const Batch& batch, bool one, const std::string& table,
               const Each& each) {
    if (!one) {
      output.write(table);
    }
    for (const Report& r : batch.reports) {
      if (one || o_.full || o_.explain) {
        output.write(one ? each(r) : "\n" + each(r));
      }
    }
  }

  [[nodiscard]] bool coloured() const {
    if (o_.colour != "auto") {
      return o_.colour == "always";
    }
    return cli::coloured(o_.out);
  }

  // --------------------------------------------------- one after the other

  // JSON Lines out: reports come in the order of the input and memory stays
  // flat. Files that are not large are read together, as the other formats do. Else records of one
  // unit that follow each other are its history, and one that comes later is refused.
  void stream(Output& output) {
    progress_.emplace(!on_terminal(o_.out));
    const std::vector<std::string> paths = or_standard_input(o_.files);
    const std::optional<std::uintmax_t> size = size_of_files(paths);
    together_ = size && *size <= kTogetherBytes;
    if (together_) {
      kept_.reserve(kTogetherRecords + 1);  // a growing one would be there twice
    }
    if (size && !together_) {
      tell_of_days();
    }
    bool going = true;
    for (std::size_t i = 0; going && i < paths.size(); ++i) {
      LineSource source(paths[i]);
      if (is_table(paths[i])) {
        going = read_all(source, *table_reader(source.name(), columns_, reading_), output);
      } else {
        going = read_text(source, output) && read_lines(output);
      }
      if (!source.error().empty()) {
        take_complaints({input_complaint(source)});
      }
    }
    if (going) {
      together_ ? grade_together(output) : (void)flush_units(output, true);
    }
    progress_->clear();
    rejected_ = complain(said_.rest()) || rejected_;
    known_.tell();
  }

  // The others do without: they judge all units as of one day.
  void tell_of_days() {
    if (!assess_.today && !std::exchange(told_of_days_, true)) {
      progress_->clear();
      warn(
          fmt::format("dryshaft: this input is too long to read ahead, so each unit is judged as "
                      "of its own newest date;\n"
                      "use --today to judge all as of one day\n"));
    }
  }

  // Lines that hold records alone are read side by side; what is laid out or broken otherwise is
  // read by a reader of its own, until it rests.
  bool read_text(LineSource& source, Output& output) {
    source.skip_blank_lines();
    const std::unique_ptr<RecordsReader> reader =
        records_reader(source.name(), source.line_number() + 1, reading_, kMaxRecordBytes,
                       /*in_turns=*/true);
    std::string line;
    bool used = false;
    for (bool begun = false; !source.ahead(1).empty() && source.error().empty(); begun = true) {
      std::string_view ahead = source.line_ahead(kMaxRecordBytes);
      if (!begun && ahead.starts_with(utf8::kByteOrderMark)) {
        ahead.remove_prefix(utf8::kByteOrderMark.size());
      }
      if (ahead.size() > kMaxRecordBytes || !holds_whole_objects(ahead)) {
        if (!read_lines(output)) {
          return false;
        }
        output.flush();  // the reader may have to wait for what follows
        if (begun) {
          reader->go_on(source.line_number() + 1);
        }
        used = true;
        if (!read_all(source, *reader, output)) {
          return false;
        }
        if (reader->done()) {
          return true;
        }
      } else if (source.next(line); line.find_first_not_of(kBlank) != std::string::npos) {
        pending_ += line.size();
        lines_.push_back({std::move(line), source.line_number(), source.name()});
        line = {};
      }
      // Whoever writes slowly is not kept waiting for the reports so far.
      const bool waits = !source.next_is_here();
      if ((waits || lines_.size() >= kAtOnce || pending_ > kMaxRecordBytes * 8) &&
          !read_lines(output)) {
        return false;
      }
      if (waits) {
        output.flush();
      }
    }
    Records read;
    if (used) {  // what it did not list it counts at the end
      reader->read({}, true, kAtOnce, read);
    }
    return take_all(std::move(read), output);
  }

  static constexpr std::string_view kBlank = " \t\r\xEF\xBB\xBF";

  bool read_all(LineSource& source, PieceReader& reader, Output& output) {
    return read_pieces(source, reader, kAtOnce, [&](Records read) {
      return take_all(std::move(read), output) && flush_units(output, false);
    });
  }

  static constexpr std::size_t kAtOnce = 256;  // lines, or units, in memory
  // Read together: README says so. A record takes about 1.5 KiB, and its own texts.
  static constexpr std::uintmax_t kTogetherBytes = std::uintmax_t{8} << 20U;
  static constexpr std::size_t kTogetherRecords = 18'000;

  struct Line {
    std::string text;
    std::uint32_t number;
    std::string source;
  };

  bool read_lines(Output& output) {
    std::vector<Records> read(lines_.size());
    in_parallel(lines_.size(), o_.jobs.value_or(1), [&](std::size_t i) {
      const Line& l = lines_[i];
      // The text reader knows about byte order marks and several records on a line.
      read[i] = read_records(l.text, l.source, reading_);
      for (Record& r : read[i].records) {
        r.line = l.number;
        r.odometer_line = l.number;
        r.date_line = l.number;
      }
      for (Diagnostic& d : read[i].diagnostics) {
        d.line = d.line == 0 ? 0 : l.number;
      }
    });
    lines_.clear();
    pending_ = 0;
    for (Records& r : read) {
      if (!take_all(std::move(r), output)) {
        return false;
      }
    }
    return flush_units(output, false);
  }

  bool take_all(Records read, Output& output) {
    take_complaints(read.diagnostics);
    known_.met(read.accepted);
    summary_.records += read.records.size();
    summary_.rejected += read.rejected;
    summary_.rejected_at_least = summary_.rejected_at_least || read.rejected_at_least;
    for (Record& record : read.records) {
      if (!add(std::move(record), output)) {
        return false;
      }
    }
    return true;
  }

  bool add(Record record, Output& output) {
    ++count_;
    if (!together_) {
      return add_in_order(std::move(record), output);
    }
    kept_.push_back(std::move(record));
    if (kept_.size() <= kTogetherRecords) {
      return true;
    }
    together_ = false;
    tell_of_days();
    for (Record& r : std::exchange(kept_, {})) {
      if (!add_in_order(std::move(r), output)) {
        return false;
      }
    }
    return true;
  }

  bool add_in_order(Record record, Output& output) {
    if (units_.empty() || units_.back().front().unit_id != record.unit_id) {
      if (!seen_.add(record.unit_id)) {
        take_complaints({late(record)});
        return true;
      }
      // Where units come by their ids, a late one is known by that alone.
      in_order_ = in_order_ && (units_.empty() || units_.back().front().unit_id < record.unit_id);
      if (seen_.full() && !in_order_ && !std::exchange(told_of_many_, true)) {
        take_complaints({too_many_to_tell(record)});
      }
      if (units_.size() > kAtOnce && !flush_units(output, false)) {
        return false;
      }
      units_.emplace_back();
    }
    units_.back().push_back(std::move(record));
    return true;
  }

  static Diagnostic late(const Record& record) {
    Diagnostic d;
    d.code = "late-record";
    d.source = record.source;
    d.line = record.line;
    d.pointer = spec(Field::unit_id).pointer;
    d.message =
        fmt::format("is \"{}\" once more, after other units: the report on it lacks this record",
                    utf8::harmless(record.unit_id));
    d.hint = fmt::format(
        "sort the input by unit id; or name files of at most {} MiB and {} records in all, which "
        "are "
        "read together",
        kTogetherBytes >> 20U, fmt::group_digits(kTogetherRecords));
    return d;
  }

  static Diagnostic too_many_to_tell(const Record& record) {
    Diagnostic d;
    d.severity = Severity::warning;
    d.code = "many-units";
    d.source = record.source;
    d.line = record.line;
    d.message = fmt::format(
        "is a record of one unit more than {}: of units from here on it is not known whether they "
        "come a second time",
        fmt::group_digits(SeenUnits::kMost));
    d.hint = "sort the input by unit id";
    return d;
  }

  // The reports that the other formats give, in the order in which the units came.
  void grade_together(Output& output) {
    std::unordered_map<std::string, std::size_t> order;
    for (const Record& r : kept_) {
      order.emplace(r.unit_id, order.size());
    }
    Result<std::vector<History>> grouped = group_by_unit(std::exchange(kept_, {}), assess_.today);
    known_.leave_out(grouped.diagnostics);
    take_complaints(grouped.diagnostics);
    std::vector<History>& histories = *grouped.value;
    if (!assess_.today) {
      assess_.today = newest_date(histories);
    }
    std::ranges::sort(histories, {}, [&](const History& h) { return order.at(h.unit_id); });
    bool going = true;
    for (std::size_t i = 0; going && i < histories.size(); i += kAtOnce) {
      const std::size_t n = std::min(kAtOnce, histories.size() - i);
      going =
          write_reports(output, n, [&](std::size_t at) { return std::move(histories[i + at]); });
      progress_->at(i + n, histories.size(), "units");
    }
  }

  // Grades all units but the last, which may go on; all of them at the end.
  bool flush_units(Output& output, bool all) {
    const std::size_t n = units_.size() - (all || units_.empty() ? 0 : 1);
    std::vector<std::vector<Diagnostic>> complaints(n);
    const bool going = write_reports(output, n, [&](std::size_t i) {
      Result<std::vector<History>> grouped = group_by_unit(std::move(units_[i]), assess_.today);
      complaints[i] = std::move(grouped.diagnostics);
      return std::move(grouped.value->front());
    });
    for (std::vector<Diagnostic>& c : complaints) {
      known_.leave_out(c);
      take_complaints(c);
    }
    units_.erase(units_.begin(), units_.begin() + static_cast<std::ptrdiff_t>(n));
    progress_->at(count_, 0, "records");
    return going;
  }

  template <typename HistoryOf>
  bool write_reports(Output& output, std::size_t n, const HistoryOf& history_of) {
    // What is left of a report once it is written: many whole ones would not fit a cache.
    struct Done {
      std::string json;
      Grade grade = Grade::U;
      bool overdue = false;
    };
    std::vector<Done> done(n);
    in_parallel(n, o_.jobs.value_or(1), [&](std::size_t i) {
      const History history = history_of(i);
      const Report report = grader_->report(history, assess_);
      if (is_wanted(report, wanted_)) {
        done[i].json = to_json(report, wanted_);
        done[i].grade = report.grade;
        done[i].overdue = report.overdue();
      }
    });
    *summary_.units += n;
    bool going = true;
    for (const Done& d : done) {
      if (!d.json.empty()) {
        judge_exit(d.grade, d.overdue);
        going = output.write(d.json) && going;
      }
    }
    return going;
  }

  const AssessCommandOptions& o_;
  AssessOptions assess_;
  Wanted wanted_;
  std::optional<Grader> grader_;
  std::vector<History> histories_;  // where they are judged at once
  Owners owners_;                   // of these units
  ColumnMap columns_;
  std::optional<Progress> progress_;
  Complaints said_;
  bool together_ = false;
  std::vector<Record> kept_;  // while together
  SeenUnits seen_;
  bool in_order_ = true;
  bool told_of_days_ = false;
  bool told_of_many_ = false;
  std::vector<Line> lines_;
  std::size_t pending_ = 0;  // bytes of them
  std::vector<std::vector<Record>> units_;
  std::size_t count_ = 0;
  bool rejected_ = false;
  std::size_t failed_on_ = 0;  // units
  ReadOptions reading_;
  Accepted known_;
  Summary summary_;
};

}  // namespace

Run add_assess(CLI::App& parent) {
  auto o = std::make_shared<AssessCommandOptions>();
  CLI::App* app = parent.add_subcommand(
      "assess", "Grade inspection records: a report of one unit, a ranked table of several");
  app->add_option("FILE", o->files, "Records, or a table (.csv); - or no file: standard input");
  add_columns_option(*app, o->columns);
  add_for_option(*app, o->audience);
  add_buying_option(*app, o->buying);
  add_format_option(*app, o->format, {"text", "json", "jsonl", "markdown", "html", "csv"});
  app->add_flag("--full", o->full,
                "The whole report; of several units, every report after the table");
  app->add_flag("--explain", o->explain,
                "After each text report, trace every step to its rule, file and line");
  add_out_option(*app, o->out);
  take_one_of(
      *app->add_option(
              "--fail-on", o->fail_on,
              "Exit with code 1 where a unit, U counted as C, has this grade or a worse one")
           ->type_name("GRADE"),
      {"A", "B", "C", "D"});
  add_today_option(*app, o->today,
                   "the newest date in the input; of jsonl from a pipe or long files, the newest "
                   "of each unit");
  app->add_option("--since", o->since,
                  "Only units whose grade has got worse since DATE, and new ones not graded A or B")
      ->type_name("DATE");
  app->add_option("--due", o->due, "Only units of which something is due by this day")
      ->type_name("DATE");
  keep_in_range(
      *app->add_option("--due-at", o->due_at,
                       "Only units of which something is due by this odometer reading, in --units")
           ->type_name("READING"),
      0, spec(Field::odometer_km).maximum);
  app->add_option("--show", o->show,
                  "Keys of your own (x_...) to show in tables, CSV and pages, as in x_shelf,x_bay")
      ->delimiter(',')
      ->allow_extra_args(false)
      ->type_name("KEYS");
  add_letters_option(*app, o->letters);
  add_photos_option(*app, o->photos);
  add_accepted_option(*app, o->accepted);
  add_summary_option(*app, o->summary);
  add_units_option(*app, o->units);
  take_one_of(*app->add_option("--color", o->colour,
                               "Colour in text; auto: on a terminal, unless NO_COLOR is set")
                   ->type_name("WHEN")
                   ->default_str(o->colour),
              {"auto", "always", "never"});
  add_jobs_option(*app, o->jobs, "1");
  add_onset_option(*app, o->data);
  add_data_options(*app, o->data);
  add_examples(*app, {{"A condition report of one unit, for a technician.",
                       "dryshaft assess examples/film-caught-early.json"},
                      {"A ranked table of many units, the worst first.",
                       "dryshaft assess examples/intake.jsonl"},
                      {"A report in plain words, for an owner about to buy the car.",
                       "dryshaft assess --for owner --buying examples/used-car-buyer.json"}});
  return [o, app] {
    o->format_given = app->count("--format") > 0;
    return Command(*o).run();
  };
}

}  // namespace dryshaft::cli
