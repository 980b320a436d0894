// The manual page, in the man macros of roff.
#include <fmt/format.h>

#include <algorithm>

#include "cli/manual.hpp"

namespace dryshaft::cli {
namespace {

// Text in which nothing is an escape, a dash or a request of roff.
std::string roff(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (c == '\\') {
      out += "\\e";
    } else if (c == '-') {
      out += "\\-";
    } else {
      out += c;
    }
  }
  return out.starts_with('.') || out.starts_with('\'') ? "\\&" + out : out;
}

std::string upper(std::string_view text) {
  std::string out(text);
  std::ranges::transform(out, out.begin(), [](char c) {
    return c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
  });
  return out;
}

// Paragraphs are filled, indented lines stand as they are.
std::string paragraphs(std::string_view text) {
  std::string out;
  bool as_it_stands = false;
  bool gap = false;
  while (!text.empty()) {
    const std::string_view line = text.substr(0, text.find('\n'));
    text.remove_prefix(std::min(line.size() + 1, text.size()));
    if (line.empty()) {
      gap = true;
      continue;
    }
    const bool indented = line.starts_with("  ");
    if (as_it_stands && !indented) {
      out += ".fi\n.RE\n";
      as_it_stands = false;
    }
    if (gap || (indented && !as_it_stands)) {
      out += as_it_stands ? "\n" : ".PP\n";
    }
    gap = false;
    if (indented && !as_it_stands) {
      out += ".RS 4\n.nf\n";
      as_it_stands = true;
    }
    out += roff(indented ? line.substr(2) : line) + "\n";
  }
  return as_it_stands ? out + ".fi\n.RE\n" : out;
}

void add_option(std::string& out, const ManualOption& option) {
  out += ".TP\n";
  for (std::size_t i = 0; i < option.names.size(); ++i) {
    out += fmt::format("{}\\fB{}\\fR", i == 0 ? "" : ", ", roff(option.names[i]));
  }
  if (option.takes != Takes::nothing && option.placeholder != option.names.front()) {
    out += fmt::format(" \\fI{}\\fR", roff(option.placeholder));
  }
  out += "\n" + roff(described(option)) + "\n";
}

void add_command(std::string& out, const ManualCommand& command, const ManualCommand& program) {
  out +=
      fmt::format(".SS {}\n{}\n.PP\n.B {}\n", roff(command.path.substr(command.path.find(' ') + 1)),
                  roff(command.description), roff(usage_line(command)));
  for (const ManualOption& argument : command.arguments) {
    add_option(out, argument);
  }
  for (const ManualOption& option : command.options) {
    if (option.names.back() != "--help") {
      add_option(out, option);
    }
  }
  if (!command.footer.empty() && command.footer != program.footer) {
    out += ".PP\n" + paragraphs(command.footer);
  }
  for (const ManualCommand& c : command.commands) {
    add_command(out, c, program);
  }
}

}  // namespace

std::string man_page(const ManualCommand& program) {
  std::string out = fmt::format(
      ".TH DRYSHAFT 1 \"\" \"dryshaft {}\" \"User Commands\"\n"
      ".SH NAME\ndryshaft \\- assess the health of electric\\-vehicle traction drive units\n"
      ".SH SYNOPSIS\n.B dryshaft\n.I COMMAND\n[\\fIOPTION\\fR...] [\\fIFILE\\fR...]\n"
      ".SH DESCRIPTION\n{}\n",
      DRYSHAFT_VERSION, roff(program.description));
  out += ".PP\nA screening aid: the decision stays with a qualified technician.\n.SH COMMANDS\n";
  for (const ManualCommand& c : program.commands) {
    add_command(out, c, program);
  }
  for (const Topic& topic : topics()) {
    const std::string text = topic_text(topic);
    const std::size_t title = text.find('\n');
    const std::string heading =
        topic.name == "exit-codes" ? "EXIT STATUS" : upper(text.substr(0, title));
    out += ".SH \"" + roff(heading) + "\"\n" + paragraphs(text.substr(title + 2));
  }
  out +=
      ".SH FILES\nWhat commands above name as\n.I examples/\nis installed as"
      "\n.IR PREFIX/share/doc/dryshaft/examples/ ,\nby Debian's package as"
      "\n.IR /usr/share/doc/dryshaft/examples/ .\n";
  return out;
}

}  // namespace dryshaft::cli
