// What the command files share: exit codes, input, output, rule data.
#ifndef DRYSHAFT_CLI_CLI_HPP
#define DRYSHAFT_CLI_CLI_HPP

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <functional>
#include <initializer_list>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "dryshaft/dryshaft.hpp"
#include "dryshaft/form.hpp"
#include "dryshaft/guide.hpp"
#include "dryshaft/knowledge.hpp"
#include "dryshaft/plan.hpp"
#include "dryshaft/record.hpp"
#include "dryshaft/table.hpp"
#include "record/pieces.hpp"

namespace CLI {
class App;
class Option;
}  // namespace CLI

namespace dryshaft::cli {

class Accepted;

enum Exit : int {
  kDone = 0,
  kFailOn = 1,
  kUsage = 2,
  kRejected = 3,
  kOutput = 4,
  kBug = 70,
};

// The first problem with the command line or the environment; ends the command.
struct Stop {
  int code;
  std::string message;
};

// ------------------------------------------------------------------ input

// What a file is, and how much of one is read.
struct FileKind {
  std::string_view what;
  std::size_t mebibytes;
};
inline constexpr FileKind kDataFile{"a file of rules, families, guides or work data", 16};
inline constexpr FileKind kOverlayFile{"an overlay", 16};
inline constexpr FileKind kOnsetFile{"what fit onset wrote", 64};
inline constexpr FileKind kOnsetTable{"a table of intervals", 64};
inline constexpr FileKind kPriceBook{"a price book", 16};
inline constexpr FileKind kColumnsFile{"a file for --columns", 1};
inline constexpr FileKind kAcceptedFile{"a file for --accepted", 64};
inline constexpr FileKind kReportsFile{"a file of reports", 4096};
inline constexpr FileKind kCasesFile{"a file of cases", 16};
inline constexpr FileKind kTraceFile{"a speed trace", 64};
inline constexpr FileKind kFormsFile{"a file of forms or mails", 64};
inline constexpr FileKind kChangedFile{"a file for --into", 64};

// A file or standard input, read line by line in flat memory. A line longer
// than a record may be comes cut just past that length: the reader refuses it.
class LineSource {
 public:
  // `path` "-" is standard input. On failure `error()` says why.
  explicit LineSource(const std::string& path);
  LineSource(const LineSource&) = delete;
  LineSource& operator=(const LineSource&) = delete;
  LineSource(LineSource&&) = delete;
  LineSource& operator=(LineSource&&) = delete;
  ~LineSource();

  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] const std::string& error() const { return error_; }
  // False at the end; `line` has no line end.
  bool next(std::string& line);
  // Whether `next` would not wait for who writes.
  bool next_is_here();
  [[nodiscard]] std::uint32_t line_number() const { return line_; }
  // Passes over lines that hold nothing.
  void skip_blank_lines();
  // What comes, as it stands: at least so many bytes, or all there is.
  std::string_view ahead(std::size_t bytes);
  // The line that comes, without its end; one longer than `most` may end early.
  std::string_view line_ahead(std::size_t most);
  // Whether `ahead` gave all there is.
  [[nodiscard]] bool ended() const { return ended_; }
  // Goes on behind so many of these bytes.
  void pass(std::size_t bytes);
  // Everything from here on, as it stands. One that holds more than its kind may is an error, and
  // read no further.
  std::string rest(const FileKind& kind);

 private:
  // Adds what is there; waits where nothing is.
  bool fill();
  [[nodiscard]] bool holds_line_end() const { return buffer_.find('\n', at_) != std::string::npos; }
  int descriptor_ = -1;
  std::string name_;
  std::string error_;
  std::string buffer_;
  std::size_t at_ = 0;
  std::size_t at_once_ = std::size_t{1} << 14U;  // bytes; most files are small, and pages cost
  bool ended_ = false;
  std::uint32_t line_ = 0;
};

// A complaint about a whole input, such as a file that cannot be opened.
Diagnostic input_complaint(const LineSource& source);

// Whether a file is a table of a shop's own: its name ends in .csv.
bool is_table(std::string_view path);
// What the columns of such tables hold: a file of the shop's, for `--columns`.
void add_columns_option(CLI::App& app, std::optional<std::string>& path);
// Complaints go to standard error. No value: exit kRejected. No path: no titles but the fields'.
Result<ColumnMap> load_columns(const std::optional<std::string>& path);
// The units in some inputs, which are records or tables. What is wrong goes to standard error.
struct UnitsRead {
  std::vector<History> histories;
  std::vector<std::string> sources;  // those that could be read
  std::vector<Diagnostic> complaints;
  std::size_t records = 0;
  std::size_t rejected = 0;  // records
  bool rejected_at_least = false;
  std::size_t accepted = 0;  // known bad inputs
  bool refused = false;      // whether a complaint is an error
};
// `today`: the day of judgement, where one is named.
UnitsRead read_units(const std::vector<std::string>& paths, const ColumnMap& columns,
                     const ReadOptions& options, Accepted& known, std::optional<int> today);
// Each record of some inputs, which are records or tables, as it comes. What is wrong goes into
// `out`, and nowhere else yet.
void read_each(const std::vector<std::string>& paths, const ColumnMap& columns,
               const ReadOptions& options, Accepted& known, UnitsRead& out,
               const std::function<void(Record)>& take);
// How many bytes some inputs hold, if all are files.
std::optional<std::uintmax_t> size_of_files(const std::vector<std::string>& paths);
// Reads on until the reader is done or rests. `take` gets what was read, at most `at_once` records
// at a time, and says whether to go on; so does this.
bool read_pieces(LineSource& source, PieceReader& reader, std::size_t at_once,
                 const std::function<bool(Records)>& take);
// Standard input where nothing is named.
std::vector<std::string> or_standard_input(const std::vector<std::string>& paths);
// The day that `assess` and `plan` judge units as of where none is named.
std::optional<int> newest_date(const std::vector<History>& histories);

// ----------------------------------------------------------------- output

// Standard output, or a file that appears under its name only when complete.
class Output {
 public:
  enum class Inputs { keep, may_replace };
  // A file that was read or written before is not replaced, unless that is what the command is for.
  explicit Output(const std::optional<std::string>& path, Inputs inputs = Inputs::keep);
  Output(const Output&) = delete;
  Output& operator=(const Output&) = delete;
  Output(Output&&) = delete;
  Output& operator=(Output&&) = delete;
  ~Output();

  // False once nothing more can or need be written.
  bool write(std::string_view text);
  // Lets a person read what was written so far.
  void flush();
  // Flushes and renames; 0, or kOutput after a message on standard error. A
  // reader that closed the pipe because it had enough is no failure.
  int finish();

 private:
  void fail(const std::string& what);
  bool is_kept(const std::string& path);  // and says so
  std::FILE* file_ = nullptr;
  std::string path_;    // as named
  std::string target_;  // the file itself
  std::string temporary_;
  Inputs inputs_ = Inputs::keep;
  bool failed_ = false;
  bool reader_left_ = false;
};

void warn(std::string_view text);  // to standard error, as it stands
// To standard error. True where one of them is an error: some input was refused.
bool complain(const std::vector<Diagnostic>& diagnostics);
// `text` in lines of at most 80 columns, all from column `indent` on, with
// `label` in the room before the first.
std::string folded(std::string_view label, std::size_t indent, std::string_view text);

// What long work says of itself while it goes on: a line on standard error, if that is a terminal,
// which goes away before anything else is said. `wanted` false: nothing.
class Progress {
 public:
  explicit Progress(bool wanted = true);
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;
  Progress(Progress&&) = delete;
  Progress& operator=(Progress&&) = delete;
  ~Progress() { end(); }

  // "1200 of 5000 units"; `of` 0 where nobody knows. Now and then, and not at all for work that is
  // quick. From any thread.
  void at(std::size_t done, std::size_t of, std::string_view what);
  // At once.
  void say(std::string_view text);
  // Takes the line away, so that something else can be said.
  void clear();
  // The same, and nothing more is said.
  void end();

 private:
  using Clock = std::chrono::steady_clock;
  bool on_;
  bool shown_ = false;
  std::mutex one_at_a_time_;
  Clock::time_point next_;
};

// Whether what goes to `--out` is seen at a terminal.
bool on_terminal(const std::optional<std::string>& out);
// Whether text may be coloured: it goes to a terminal, and NO_COLOR is not set.
bool coloured(const std::optional<std::string>& out);

// -------------------------------------------------------------- rule data

struct DataOptions {
  std::optional<std::string> rules;    // a folder
  std::optional<std::string> overlay;  // a file; --rules takes either, or one of each
  std::optional<std::string> families;
  std::optional<std::string> onset;  // a file; only where a command takes it
};
void add_data_options(CLI::App& app, DataOptions& options);
// One that takes a folder and an overlay.
void add_rules_option(CLI::App& app, const std::string& name, std::string_view description,
                      DataOptions& options);
void add_onset_option(CLI::App& app, DataOptions& options);

// Ids of all settings and rules, and the fields that `fit onset --by` knows.
std::vector<std::string> rule_ids(const Knowledge& knowledge);
inline constexpr std::string_view kOnsetGroups[] = {"family", "gear_bearings", "rotor_bearings",
                                                    "vehicle"};

// Formats of files by their names, and the JSON Schema of one.
std::vector<std::string> schema_names();
std::string schema_of(std::string_view name);

// What completions ask for as one types.
struct IdsOptions {
  std::optional<std::string> what;  // families, vehicles, checks, job-sheets, rules or groups
  std::string family;               // whose vehicles; empty: of all
  DataOptions data;
  std::optional<std::string> work;
  std::optional<std::string> guides;
};
// Options that the user is not shown.
void add_ids_options(CLI::App& app, IdsOptions& options);
// A line each. Throws Stop where there is no such kind.
std::string ids_of(const IdsOptions& options);

// Loads and checks; complaints go to standard error. No value: exit kRejected.
// Throws Stop where a folder does not exist.
Result<Knowledge> load(const DataOptions& options);
// What a page needs of a user's own rules and families.
FormPage own_data(const DataOptions& options);
// A sheet as a page that keeps what is written on it, where this program can make such a page.
std::string page_of(const Sheet& sheet, const Grader& grader, Audience audience,
                    const DataOptions& options);
// An example record that came with the program, by its shortest path from here; none: it did not.
std::optional<std::string> example_record();
// A help whose commands name the examples where they are: where there is no folder `examples`, as
// they are installed.
std::string with_examples_found(std::string text);
// Guides: `folder` if named, else `guides` beside the named rules, and the
// shipped ones whose file names are not taken. Complaints go to standard error.
Result<Guides> load_guides(const DataOptions& options, const std::optional<std::string>& folder,
                           const Knowledge& knowledge);
void add_guides_option(CLI::App& app, std::optional<std::string>& folder);
// What a report's basis says of an overlay: ", adapted to 48 own teardowns (...)"; or empty.
std::string adapted_by(const Knowledge& knowledge);
// What the commands about rules begin with: which rules they are, in lines of at most 80 columns.
std::string rules_heading(const Knowledge& knowledge);
// A file of data; throws Stop where it cannot be read.
NamedText text_file(const std::string& path, const FileKind& kind = kDataFile);
// One that came with the program, by its name below the folder of data.
NamedText shipped_file(std::string_view name);
// Work data: `folder` if named, else `work` beside the named rules where there is one, else the
// shipped. Complaints go to standard error.
Result<WorkRules> load_work(const DataOptions& options, const std::optional<std::string>& folder,
                            const Knowledge& knowledge);

// Wrong usage: a name that is none of the known ones, which are listed as `list`.
Stop no_such(std::string_view what, std::string_view wanted, std::string_view list,
             std::vector<std::string_view> known);
// That `--family` and `--vehicle`, empty where not named, exist; throws Stop.
void check_names(const std::string& family, const std::string& vehicle, const Knowledge& knowledge);

// Options that several commands have, each with one meaning in all of them, and what was given with
// them. A default that is named is what help says; an empty one says nothing.
void add_out_option(CLI::App& app, std::optional<std::string>& out);
// Two options that name one file: wrong usage.
void keep_apart(std::string_view option, const std::optional<std::string>& path,
                std::string_view other_option, const std::optional<std::string>& other_path);
void add_format_option(CLI::App& app, std::string& format, const std::vector<std::string>& forms);
void add_for_option(CLI::App& app, std::string& audience);
void add_buying_option(CLI::App& app, bool& buying);
void add_family_option(CLI::App& app, std::string& family, std::string_view default_family);
void add_vehicle_option(CLI::App& app, std::string& vehicle);
void add_jobs_option(CLI::App& app, std::optional<unsigned>& jobs, std::string_view default_jobs);
unsigned jobs_of(const std::optional<unsigned>& jobs);  // not given: one per processor
void add_units_option(CLI::App& app, std::optional<std::string>& units);
Units units_of(const std::optional<std::string>& units);  // not given: km
// `default_day` says which day it is without; empty: none.
void add_today_option(CLI::App& app, std::optional<std::string>& today,
                      std::string_view default_day = {});
// Throws Stop where it is no date.
std::optional<int> day_of(std::string_view option, const std::optional<std::string>& text);
// The option takes one of these words alone.
void take_one_of(CLI::Option& option, const std::vector<std::string>& words);
// The option takes a number from `least` on (or only above it) up to `most`, and no NaN.
void keep_in_range(CLI::Option& option, double least, double most, bool above_least = false);

// --------------------------------------------------------------- commands

// A command line as it is typed, and what it does, in a line of help.
struct Example {
  std::string_view does;
  std::string_view line;
};
// What help says at its end: `remark`, if any, and the examples.
void add_examples(CLI::App& app, std::initializer_list<Example> examples,
                  std::string_view remark = {});

using Run = std::function<int()>;
Run add_assess(CLI::App& parent);
Run add_check(CLI::App& parent);
Run add_compare(CLI::App& parent);
Run add_fit(CLI::App& parent);
Run add_fit_onset(CLI::App& fit);
Run add_fit_outcomes(CLI::App& fit);
Run add_form(CLI::App& parent);
Run add_form_ask(CLI::App& form);
Run add_form_read(CLI::App& form);
Run add_guide(CLI::App& parent);
Run add_help(CLI::App& parent);
Run add_listen(CLI::App& parent);
Run add_plan(CLI::App& parent);
Run add_records(CLI::App& parent);
Run add_records_anonymise(CLI::App& records);
Run add_records_convert(CLI::App& records);
Run add_records_correct(CLI::App& records);
Run add_records_forget(CLI::App& records);
Run add_records_merge(CLI::App& records);
Run add_records_retire(CLI::App& records);
Run add_records_withdraw(CLI::App& records);
Run add_rules(CLI::App& parent);
Run add_rules_test(CLI::App& rules);
Run add_rules_verify(CLI::App& rules);

}  // namespace dryshaft::cli

#endif
