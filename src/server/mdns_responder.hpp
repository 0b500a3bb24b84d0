#pragma once
// Answers in the local network for the name of this machine's pages, beside whatever else answers there for
// other names.

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "base/error.hpp"
#include "server/addresses.hpp"

namespace backeddy::server {

class MdnsResponder {
  public:
    struct Wish {
        std::string name;                     ///< ends in ".local"
        std::function<void(std::string)> say; ///< one line for the terminal; from a thread of its own
        std::function<std::vector<MachineAddress>()> addresses = machine_addresses;
        std::function<std::vector<MachineAddress6>()> addresses6 = machine_addresses6;
    };
    /// Over IPv4, and over IPv6 where the machine has it. Asks whether anybody has the name, says twice that
    /// we have, and answers until it goes, when it takes the name back. Networks that come later are joined
    /// within `look_again`. Fails with bad_setting where the socket cannot be opened.
    [[nodiscard]] static Expected<std::unique_ptr<MdnsResponder>> start(Wish wish);
    ~MdnsResponder();
    MdnsResponder(const MdnsResponder&) = delete;
    MdnsResponder& operator=(const MdnsResponder&) = delete;

  private:
    struct Inside;
    explicit MdnsResponder(std::unique_ptr<Inside> inside);
    std::unique_ptr<Inside> inside_;
};

} // namespace backeddy::server
