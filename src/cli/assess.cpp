#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <cstdlib>
#include <memory>

#include "cli/cli.hpp"
#include "cli/parallel.hpp"
#include "record/pieces.hpp"

namespace dryshaft::cli {
namespace {

struct AssessCommandOptions {
  std::vector<std::string> files;
  std::string audience = "technician";
  bool buying = false;
  std::string format = "text";
  std::optional<std::string> units;
  std::string colour = "auto";
  std::optional<std::string> out;
  std::optional<std::string> columns;
  std::optional<std::string> fail_on;
  std::optional<std::string> today;
  std::optional<std::string> since;
  std::optional<std::string> due;
  std::optional<double> due_at;
  bool full = false;
  bool explain = false;
  unsigned jobs = 1;
  DataOptions data;
};

class Command {
 public:
  explicit Command(const AssessCommandOptions& options) : o_(options) {}

  int run() {
    assess_.today = day_of("--today", o_.today);
    wanted_.worse_since = day_of("--since", o_.since);
    wanted_.due_by_date = day_of("--due", o_.due);
    if (o_.due_at) {
      wanted_.due_by_km = *o_.due_at * (units() == Units::mi ? kKmPerMile : 1);
    }
    if (o_.explain && o_.format != "text") {
      throw Stop{kUsage, "--explain goes with --format text"};
    }
    assess_.audience = o_.audience == "owner" ? Audience::owner : Audience::technician;
    if (o_.buying && assess_.audience != Audience::owner) {
      throw Stop{kUsage, "--buying goes with --for owner"};
    }
    assess_.buying = o_.buying;
    Result<Knowledge> loaded = load(o_.data);
    if (!loaded.value) {
      return kRejected;
    }
    knowledge_ = std::move(*loaded.value);
    model_.emplace(knowledge_);
    variations_ = variations(knowledge_, kVariations);
    assess_.variations = &variations_;
    read_ = read_options(knowledge_);
    Result<ColumnMap> columns = load_columns(o_.columns);
    if (!columns.value) {
      return kRejected;
    }
    columns_ = std::move(*columns.value);
    Output output(o_.out);
    if (o_.format == "jsonl") {
      stream(output);
    } else {
      batch(output);
    }
    if (const int failed = output.finish(); failed != kDone) {
      return failed;
    }
    return rejected_ ? kRejected : (failed_on_ ? kFailOn : kDone);
  }

 private:
  [[nodiscard]] Units units() const { return units_of(o_.units); }

  void take_complaints(const std::vector<Diagnostic>& diagnostics) {
    if (!diagnostics.empty()) {
      progress_->clear();
    }
    rejected_ = complain(diagnostics) || rejected_;
  }

  void judge_exit(Grade grade) {
    if (o_.fail_on) {
      failed_on_ = failed_on_ || severity(grade) >= severity(*grade_named(*o_.fail_on));
    }
  }

  // ---------------------------------------------------- everything at once

  void batch(Output& output) {
    Batch batch;
    UnitsRead read = read_units(or_standard_input(o_.files), columns_, read_, assess_.today);
    rejected_ = read.refused;
    batch.rejected = std::move(read.complaints);
    batch.rejected_records = read.rejected;
    if (!assess_.today) {
      assess_.today = newest_date(read.histories);
    }
    batch.today = assess_.today ? date_text(*assess_.today) : "";
    const std::size_t units = read.histories.size();
    batch.reports.resize(units);
    Progress progress;
    std::atomic<std::size_t> done{0};
    in_parallel(units, o_.jobs, [&](std::size_t i) {
      batch.reports[i] = assess(read.histories[i], knowledge_, *model_, assess_);
      progress.at(++done, units, "units");
    });
    progress.end();
    choose(batch);
    for (const Report& r : batch.reports) {
      judge_exit(r.grade);
    }
    rank(batch.reports);
    write(output, batch);
  }

  void choose(Batch& batch) const {
    batch.wanted = wanted_;
    std::erase_if(batch.reports, [&](const Report& r) {
      if (is_wanted(r, wanted_)) {
        return false;
      }
      ++batch.left_out;
      batch.without_earlier += wanted_.worse_since && !grade_on(r, *wanted_.worse_since) ? 1 : 0;
      return true;
    });
  }

  void write(Output& output, const Batch& batch) {
    const Units units = this->units();
    const TextStyle style{.colour = coloured(), .width = 80, .units = units};
    const bool one =
        batch.reports.size() == 1 && batch.rejected_records == 0 && wanted_.everything();
    if (o_.format == "json") {
      for (const Report& r : batch.reports) {
        output.write(to_json(r));
      }
    } else if (o_.format == "csv") {
      output.write(csv_header());
      for (const Report& r : batch.reports) {
        output.write(to_csv(r));
      }
    } else if (o_.format == "html") {
      output.write(one ? to_html(batch.reports.front(), units) : to_html(batch, units, o_.full));
    } else if (o_.format == "markdown") {
      several(output, batch, one, to_markdown(batch, units),
              [&](const Report& r) { return to_markdown(r, units); });
    } else {
      several(output, batch, one, to_text(batch, style), [&](const Report& r) {
        return to_text(r, style) +
               (o_.explain ? explain(r, knowledge_, style.width) : std::string());
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
  // flat. Records of one unit that follow each other are its history.
  void stream(Output& output) {
    progress_.emplace(!on_terminal(o_.out));
    for (const std::string& path : or_standard_input(o_.files)) {
      LineSource source(path);
      bool going = true;
      if (is_table(path)) {
        going = read_pieces(source, *table_reader(source.name(), columns_, read_), output);
      } else if (source.skip_blank_lines(); is_on_lines(source)) {
        std::string line;
        while (going && source.next(line)) {
          if (line.find_first_not_of(kBlank) != std::string::npos) {
            pending_ += line.size();
            lines_.push_back({std::move(line), source.line_number(), source.name()});
            line = {};
          }
          // Whoever writes slowly is not kept waiting for the reports so far.
          const bool waits = !source.next_is_here();
          if (waits || lines_.size() >= kAtOnce || pending_ > kMaxRecordBytes * 8) {
            going = read_lines(output);
          }
          if (waits) {
            output.flush();
          }
        }
      } else {
        going = read_pieces(source, *records_reader(source.name(), source.line_number() + 1, read_),
                            output);
      }
      if (!source.error().empty()) {
        take_complaints({input_complaint(source)});
      }
      if (!going || !read_lines(output)) {
        return;
      }
    }
    flush_units(output, true);
  }

  static constexpr std::string_view kBlank = " \t\r\xEF\xBB\xBF";

  // Whether the first line holds a record. One longer than a record may be is refused like any
  // other; the rest is read on.
  static bool is_on_lines(LineSource& source) {
    const std::string_view line = source.line_ahead(kMaxRecordBytes);
    const std::size_t first = line.find_first_not_of(kBlank);
    if (first == std::string_view::npos) {
      return line.size() <= kMaxRecordBytes;  // then white space is all that is left
    }
    return line[first] != '[' && (line.size() > kMaxRecordBytes || is_complete_object(line));
  }

  // A table, records in an array, or one that takes several lines.
  bool read_pieces(LineSource& source, PieceReader& reader, Output& output) {
    bool going = true;
    while (going && !reader.done()) {
      const std::string_view text = source.ahead(reader.look_ahead());
      if (!source.error().empty()) {
        break;
      }
      Records read;
      source.pass(reader.read(text, source.ended(), kAtOnce, read));
      going = take_all(std::move(read), output);
    }
    return going;
  }

  static constexpr std::size_t kAtOnce = 256;  // lines, or units, in memory

  struct Line {
    std::string text;
    std::uint32_t number;
    std::string source;
  };

  bool read_lines(Output& output) {
    std::vector<Records> read(lines_.size());
    in_parallel(lines_.size(), o_.jobs, [&](std::size_t i) {
      const Line& l = lines_[i];
      // The text reader knows about byte order marks, line ends and trailing text.
      read[i] = read_records(l.text, l.source, read_);
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
      take_complaints(r.diagnostics);
      for (Record& record : r.records) {
        add(std::move(record));
      }
    }
    return flush_units(output, false);
  }

  void add(Record record) {
    ++count_;
    if (units_.empty() || units_.back().front().unit_id != record.unit_id) {
      units_.emplace_back();
    }
    units_.back().push_back(std::move(record));
  }

  bool take_all(Records read, Output& output) {
    take_complaints(read.diagnostics);
    for (Record& record : read.records) {
      add(std::move(record));
      if (units_.size() > kAtOnce && !flush_units(output, false)) {
        return false;
      }
    }
    return flush_units(output, false);
  }

  // Grades all units but the last, which may go on; all of them at the end.
  bool flush_units(Output& output, bool all) {
    const std::size_t n = units_.size() - (all || units_.empty() ? 0 : 1);
    // What is left of a report once it is written: many whole ones would not fit a cache.
    struct Done {
      std::string json;
      Grade grade = Grade::U;
      std::vector<Diagnostic> complaints;
    };
    std::vector<Done> done(n);
    in_parallel(n, o_.jobs, [&](std::size_t i) {
      Result<std::vector<History>> grouped = group_by_unit(std::move(units_[i]), assess_.today);
      done[i].complaints = std::move(grouped.diagnostics);
      const Report report = assess(grouped.value->front(), knowledge_, *model_, assess_);
      if (is_wanted(report, wanted_)) {
        done[i].json = to_json(report);
        done[i].grade = report.grade;
      }
    });
    bool going = true;
    for (const Done& d : done) {
      take_complaints(d.complaints);
      if (!d.json.empty()) {
        judge_exit(d.grade);
        going = output.write(d.json) && going;
      }
    }
    units_.erase(units_.begin(), units_.begin() + static_cast<std::ptrdiff_t>(n));
    progress_->at(count_, 0, "records");
    return going;
  }

  const AssessCommandOptions& o_;
  AssessOptions assess_;
  Wanted wanted_;
  Knowledge knowledge_;
  std::optional<Model> model_;
  std::vector<Model> variations_;
  ReadOptions read_;
  ColumnMap columns_;
  std::optional<Progress> progress_;
  std::vector<Line> lines_;
  std::size_t pending_ = 0;  // bytes of them
  std::vector<std::vector<Record>> units_;
  std::size_t count_ = 0;
  bool rejected_ = false;
  bool failed_on_ = false;
};

}  // namespace

Run add_assess(CLI::App& parent) {
  auto o = std::make_shared<AssessCommandOptions>();
  CLI::App* app = parent.add_subcommand(
      "assess",
      "Grade inspection records: one unit gives a condition report, several a ranked table");
  app->add_option("FILE", o->files, "Records, or a table (.csv); - or no file: standard input");
  add_columns_option(*app, o->columns);
  app->add_option("--for", o->audience, "Who reads the report: technician or owner")
      ->check(CLI::IsMember({"technician", "owner"}))
      ->type_name("WHO");
  app->add_flag("--buying", o->buying, "For someone about to buy the car; with --for owner");
  app->add_option("--format", o->format, "text, json, jsonl, markdown, html or csv")
      ->check(CLI::IsMember({"text", "json", "jsonl", "markdown", "html", "csv"}))
      ->type_name("FORMAT");
  app->add_flag("--full", o->full, "Every report after the table");
  app->add_flag("--explain", o->explain,
                "After each text report, trace every step to its rule, file and line");
  add_out_option(*app, o->out);
  app->add_option("--fail-on", o->fail_on, "Exit 1 where a grade is this bad or worse (U as C)")
      ->check(CLI::IsMember({"A", "B", "C", "D"}))
      ->type_name("GRADE");
  app->add_option(
         "--today", o->today,
         "Judge as of this day; default: the newest date in the input (jsonl: of the unit)")
      ->type_name("DATE");
  app->add_option("--since", o->since, "Only units whose grade is worse than it was on this day")
      ->type_name("DATE");
  app->add_option("--due", o->due, "Only units whose recheck is due by this day")
      ->type_name("DATE");
  keep_in_range(
      *app->add_option("--due-at", o->due_at,
                       "Only units whose recheck is due by this odometer reading, in --units")
           ->type_name("READING"),
      0, spec(Field::odometer_km).maximum);
  add_units_option(*app, o->units);
  app->add_option("--color", o->colour, "auto, always or never; NO_COLOR is honoured")
      ->check(CLI::IsMember({"auto", "always", "never"}))
      ->type_name("WHEN");
  app->add_option("--jobs", o->jobs, "Threads to use")->check(CLI::Range(1U, 256U))->type_name("N");
  add_onset_option(*app, o->data);
  add_data_options(*app, o->data);
  return [o] { return Command(*o).run(); };
}

}  // namespace dryshaft::cli
