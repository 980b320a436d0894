// What owners send, as texts: saved mails with what is attached to them, pages, plain text.
#ifndef DRYSHAFT_CLI_MAIL_HPP
#define DRYSHAFT_CLI_MAIL_HPP

#include <string>
#include <string_view>
#include <vector>

#include "dryshaft/diagnostic.hpp"
#include "dryshaft/form.hpp"

namespace dryshaft::cli {

// One mail, or a file that is none.
struct Sent {
  std::vector<SentText> texts;         // in UTF-8, pages as text; at least one
  std::vector<Diagnostic> complaints;  // what of it cannot be taken
  std::vector<Diagnostic> unread;  // pictures and the like, which matter where no text is a form
};

// By what the bytes hold, not by the name of the file: one mail, those of a mailbox, or one text.
// What is none of these comes as it stands.
std::vector<Sent> sent_in(std::string bytes, std::string_view source);

}  // namespace dryshaft::cli

#endif
