#include "server/mdns_responder.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <string_view>
#include <thread>

#include <arpa/inet.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <unistd.h>

#include "server/mdns.hpp"

namespace backeddy::server {

namespace {

using Clock = std::chrono::steady_clock;
using std::chrono::milliseconds;

constexpr std::uint16_t mdns_port = 5353;
constexpr std::uint32_t mdns_group = 0xE00000FB;                                     // 224.0.0.251
constexpr Ipv6 mdns_group6{0xFF, 0x02, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xFB}; // ff02::fb
constexpr std::size_t longest_packet = 9000;
constexpr int packets_at_once = 32;
constexpr std::size_t most_rivals = 8;
/// An answer goes to all of a network at most so often (RFC 6762, section 6).
constexpr milliseconds between_answers{1000};
constexpr milliseconds between_announcements{1000};
constexpr int announcements = 3; ///< the first one asks, the others say
constexpr milliseconds look_again{15'000};

class Descriptor {
  public:
    explicit Descriptor(int number) : number_(number) {}
    ~Descriptor() {
        if (number_ >= 0) {
            ::close(number_);
        }
    }
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    [[nodiscard]] int number() const { return number_; }

  private:
    int number_;
};

template <typename Value>
bool set(int socket, int level, int option, const Value& value) {
    return ::setsockopt(socket, level, option, &value, sizeof value) == 0;
}

/// Where a packet goes or came from.
struct Endpoint {
    sockaddr_storage at{};
    socklen_t length = sizeof(sockaddr_storage);

    [[nodiscard]] sockaddr* raw() { return reinterpret_cast<sockaddr*>(&at); }
    [[nodiscard]] const sockaddr* raw() const { return reinterpret_cast<const sockaddr*>(&at); }
};

Endpoint endpoint(std::uint32_t address, std::uint16_t port) {
    sockaddr_in out{};
    out.sin_family = AF_INET;
    out.sin_port = htons(port);
    out.sin_addr.s_addr = htonl(address);
    Endpoint to{.length = sizeof out};
    std::memcpy(&to.at, &out, sizeof out);
    return to;
}

Endpoint endpoint(const Ipv6& address, std::uint16_t port, unsigned interface) {
    sockaddr_in6 out{};
    out.sin6_family = AF_INET6;
    out.sin6_port = htons(port);
    std::memcpy(&out.sin6_addr, address.data(), address.size());
    out.sin6_scope_id = interface;
    Endpoint to{.length = sizeof out};
    std::memcpy(&to.at, &out, sizeof out);
    return to;
}

std::string digits(std::uint32_t number) {
    return fmt::format("{}.{}.{}.{}", number >> 24, number >> 16 & 0xFF, number >> 8 & 0xFF, number & 0xFF);
}

/// Where we answer: at one address of one interface over IPv4, or at one interface over IPv6.
struct Where {
    bool is_six = false;
    unsigned interface = 0;
    MachineAddress at;       ///< over IPv6: one of the interface, where it has any
    std::vector<Ipv6> sixes; ///< that are told beside it

    friend bool operator==(const Where&, const Where&) = default;
};

struct Place {
    Where where;
    int announcements_left = announcements;
    Clock::time_point next{};                                    ///< of them
    Clock::time_point answered = Clock::now() - between_answers; ///< to all
};

struct Packet {
    std::string_view bytes;
    Endpoint from;
    std::uint32_t number = 0; ///< of who sent it, over IPv4
    Ipv6 six{};               ///< over IPv6
    std::uint16_t port = 0;
    unsigned interface = 0;
    bool is_six = false;
};

/// Of an interface. An address of the link alone means nothing to most who ask: it is told where there is no
/// other of any kind.
std::vector<Ipv6> told_sixes(unsigned interface, const std::vector<MachineAddress>& fours,
                             const std::vector<MachineAddress6>& sixes) {
    std::vector<Ipv6> wide;
    std::vector<Ipv6> of_link;
    for (const auto& each : sixes) {
        if (each.interface == interface) {
            (is_link_local(each.address) ? of_link : wide).push_back(each.address);
        }
    }
    const bool has_four =
        std::ranges::any_of(fours, [&](const MachineAddress& each) { return each.interface == interface; });
    return wide.empty() && !has_four ? of_link : wide;
}

std::vector<Where> all_places(const std::vector<MachineAddress>& fours,
                              const std::vector<MachineAddress6>& sixes, bool speaks_six) {
    std::vector<Where> out;
    for (const auto& each : fours) {
        if (each.has_multicast) {
            out.push_back(
                {.interface = each.interface, .at = each, .sixes = told_sixes(each.interface, fours, sixes)});
        }
    }
    for (const auto& each : sixes) {
        const bool is_there = std::ranges::any_of(
            out, [&](const Where& other) { return other.is_six && other.interface == each.interface; });
        if (!speaks_six || !each.has_multicast || is_there) {
            continue;
        }
        const auto four = std::ranges::find(fours, each.interface, &MachineAddress::interface);
        out.push_back({.is_six = true,
                       .interface = each.interface,
                       .at = four == fours.end() ? MachineAddress{} : *four,
                       .sixes = told_sixes(each.interface, fours, sixes)});
    }
    return out;
}

mdns::Answer addresses_of(const Where& where) {
    return {.address = where.at.number, .addresses6 = where.sixes};
}

bool is_neighbour(const Where& where, const Packet& packet) {
    if (!packet.is_six) {
        return where.at.is_neighbour(packet.number);
    }
    constexpr std::size_t of_network = 8;
    return is_link_local(packet.six) || std::ranges::any_of(where.sixes, [&](const Ipv6& each) {
               return std::equal(each.begin(), each.begin() + of_network, packet.six.begin());
           });
}

} // namespace

struct MdnsResponder::Inside {
    Inside(Wish its_wish, int its_socket, int its_socket6)
        : wish(std::move(its_wish)), socket(its_socket), socket6(its_socket6) {}

    Wish wish;
    Descriptor socket;
    Descriptor socket6; ///< below zero where the machine has no IPv6
    Descriptor stop{::eventfd(0, EFD_CLOEXEC)};
    std::vector<Place> places;
    std::vector<std::string> rivals;
    Clock::time_point looked{};
    std::thread thread;

    void run();
    void look();
    void announce();
    [[nodiscard]] int wait_time() const;
    [[nodiscard]] bool joins(const Where& where) const;
    void receive(bool is_six);
    void hear(const Packet& packet);
    void hear_claim(const std::string& address, bool is_ours);
    void answer(Place& place, const mdns::Heard& heard, const Packet& packet);
    void send(const Place& place, std::string_view bytes, const Endpoint& to) const;
    void send_to_all(const Place& place, std::string_view bytes) const {
        send(place, bytes,
             place.where.is_six ? endpoint(mdns_group6, mdns_port, place.where.interface)
                                : endpoint(mdns_group, mdns_port));
    }
};

bool MdnsResponder::Inside::joins(const Where& where) const {
    if (where.is_six) {
        ipv6_mreq group{};
        std::memcpy(&group.ipv6mr_multiaddr, mdns_group6.data(), mdns_group6.size());
        group.ipv6mr_interface = where.interface;
        return set(socket6.number(), IPPROTO_IPV6, IPV6_JOIN_GROUP, group) || errno == EADDRINUSE;
    }
    ip_mreqn group{};
    group.imr_multiaddr.s_addr = htonl(mdns_group);
    group.imr_ifindex = static_cast<int>(where.interface);
    return set(socket.number(), IPPROTO_IP, IP_ADD_MEMBERSHIP, group) || errno == EADDRINUSE;
}

/// Interfaces come and go: a phone's hotspot, a cable.
void MdnsResponder::Inside::look() {
    looked = Clock::now();
    const auto there = all_places(wish.addresses(), wish.addresses6(), socket6.number() >= 0);
    std::erase_if(places,
                  [&](const Place& place) { return std::ranges::find(there, place.where) == there.end(); });
    for (const auto& each : there) {
        if (std::ranges::find(places, each, &Place::where) == places.end() && joins(each)) {
            places.push_back({.where = each, .next = looked});
        }
    }
}

void MdnsResponder::Inside::announce() {
    for (auto& place : places) {
        if (place.announcements_left > 0 && place.next <= Clock::now()) {
            const bool asks = place.announcements_left-- == announcements;
            send_to_all(place, asks ? mdns::question(wish.name)
                                    : mdns::answer(wish.name, addresses_of(place.where)));
            place.next = Clock::now() + between_announcements;
        }
    }
}

int MdnsResponder::Inside::wait_time() const {
    auto until = looked + look_again;
    for (const auto& place : places) {
        if (place.announcements_left > 0) {
            until = std::min(until, place.next);
        }
    }
    const auto wait = std::chrono::ceil<milliseconds>(until - Clock::now()).count();
    return static_cast<int>(std::max<std::int64_t>(wait, 0));
}

void MdnsResponder::Inside::run() {
    while (true) {
        if (Clock::now() - looked >= look_again) {
            look();
        }
        announce();
        // One below zero is left out.
        std::array<pollfd, 3> ready{{{.fd = socket.number(), .events = POLLIN, .revents = 0},
                                     {.fd = socket6.number(), .events = POLLIN, .revents = 0},
                                     {.fd = stop.number(), .events = POLLIN, .revents = 0}}};
        ::poll(ready.data(), ready.size(), wait_time());
        if (ready[2].revents != 0) {
            break;
        }
        if (ready[0].revents != 0) {
            receive(false);
        }
        if (ready[1].revents != 0) {
            receive(true);
        }
    }
    for (const auto& place : places) {
        auto goodbye = addresses_of(place.where);
        goodbye.life = 0;
        send_to_all(place, mdns::answer(wish.name, goodbye));
    }
}

void MdnsResponder::Inside::receive(bool is_six) {
    std::array<char, longest_packet> bytes{};
    for (int i = 0; i < packets_at_once; ++i) {
        Packet packet{.is_six = is_six};
        iovec into{.iov_base = bytes.data(), .iov_len = bytes.size()};
        alignas(cmsghdr) std::array<char, 256> more{};
        msghdr message{};
        message.msg_name = packet.from.raw();
        message.msg_namelen = packet.from.length;
        message.msg_iov = &into;
        message.msg_iovlen = 1;
        message.msg_control = more.data();
        message.msg_controllen = more.size();
        const ssize_t got = ::recvmsg((is_six ? socket6 : socket).number(), &message, MSG_DONTWAIT);
        if (got < 0) {
            return;
        }
        packet.bytes = {bytes.data(), static_cast<std::size_t>(got)};
        packet.from.length = message.msg_namelen;
        if (is_six) {
            sockaddr_in6 from{};
            std::memcpy(&from, packet.from.raw(), sizeof from);
            std::memcpy(packet.six.data(), &from.sin6_addr, packet.six.size());
            packet.port = ntohs(from.sin6_port);
        } else {
            sockaddr_in from{};
            std::memcpy(&from, packet.from.raw(), sizeof from);
            packet.number = ntohl(from.sin_addr.s_addr);
            packet.port = ntohs(from.sin_port);
        }
        for (cmsghdr* each = CMSG_FIRSTHDR(&message); each != nullptr; each = CMSG_NXTHDR(&message, each)) {
            if (each->cmsg_level == IPPROTO_IP && each->cmsg_type == IP_PKTINFO) {
                in_pktinfo info{};
                std::memcpy(&info, CMSG_DATA(each), sizeof info);
                packet.interface = static_cast<unsigned>(info.ipi_ifindex);
            } else if (each->cmsg_level == IPPROTO_IPV6 && each->cmsg_type == IPV6_PKTINFO) {
                in6_pktinfo info{};
                std::memcpy(&info, CMSG_DATA(each), sizeof info);
                packet.interface = info.ipi6_ifindex;
            }
        }
        hear(packet);
    }
}

void MdnsResponder::Inside::hear(const Packet& packet) {
    const auto place = std::ranges::find_if(places, [&](const Place& each) {
        return each.where.is_six == packet.is_six && each.where.interface == packet.interface &&
               is_neighbour(each.where, packet);
    });
    if (place == places.end()) {
        return;
    }
    const auto heard = mdns::read(packet.bytes, wish.name);
    if (!heard) {
        return;
    }
    if (!heard->is_answer) {
        if (heard->asks_address || heard->asks_address6 || heard->asks_other) {
            answer(*place, *heard, packet);
        }
        return;
    }
    for (const std::uint32_t address : heard->addresses) {
        hear_claim(digits(address), std::ranges::any_of(places, [&](const Place& each) {
                       return each.where.at.number == address;
                   }));
    }
    for (const auto& address : heard->addresses6) {
        hear_claim(server::digits(address), std::ranges::any_of(places, [&](const Place& each) {
                       return std::ranges::find(each.where.sixes, address) != each.where.sixes.end();
                   }));
    }
}

void MdnsResponder::Inside::hear_claim(const std::string& address, bool is_ours) {
    if (is_ours || rivals.size() >= most_rivals || std::ranges::find(rivals, address) != rivals.end()) {
        return;
    }
    rivals.push_back(address);
    wish.say(fmt::format(
        "beware: another machine ({}) answers for {} too, and phones may ask it instead; stop the "
        "program there, or start this one with another name: --deck-name NAME",
        address, wish.name));
}

void MdnsResponder::Inside::answer(Place& place, const mdns::Heard& heard, const Packet& packet) {
    const bool is_legacy = packet.port != mdns_port;
    auto what = addresses_of(place.where);
    const bool has_four = what.address != 0;
    const bool has_six = !what.addresses6.empty();
    const bool knows_four = std::ranges::find(heard.addresses, what.address) != heard.addresses.end();
    const bool knows_six = std::ranges::all_of(what.addresses6, [&](const Ipv6& each) {
        return std::ranges::find(heard.addresses6, each) != heard.addresses6.end();
    });
    if (!is_legacy && (knows_four || !has_four) && (knows_six || !has_six)) {
        return;
    }
    what.is_about_other = !(heard.asks_address && has_four) && !(heard.asks_address6 && has_six);
    what.is_about_ipv6 = heard.asks_address6 && !heard.asks_address;
    if (is_legacy) {
        what.life = mdns::legacy_life;
        what.legacy_id = heard.id;
    }
    const std::string bytes = mdns::answer(wish.name, what);
    if (is_legacy || heard.wants_unicast) {
        send(place, bytes, packet.from);
    } else if (Clock::now() - place.answered >= between_answers) {
        place.answered = Clock::now();
        send_to_all(place, bytes);
    }
}

void MdnsResponder::Inside::send(const Place& place, std::string_view bytes, const Endpoint& to) const {
    Endpoint target = to;
    iovec from{.iov_base = const_cast<char*>(bytes.data()), .iov_len = bytes.size()}; // only read
    alignas(cmsghdr) std::array<char, CMSG_SPACE(sizeof(in6_pktinfo))> more{};
    msghdr message{};
    message.msg_name = target.raw();
    message.msg_namelen = target.length;
    message.msg_iov = &from;
    message.msg_iovlen = 1;
    message.msg_control = more.data();
    message.msg_controllen =
        place.where.is_six ? CMSG_SPACE(sizeof(in6_pktinfo)) : CMSG_SPACE(sizeof(in_pktinfo));
    cmsghdr* head = CMSG_FIRSTHDR(&message);
    if (place.where.is_six) {
        head->cmsg_level = IPPROTO_IPV6;
        head->cmsg_type = IPV6_PKTINFO;
        head->cmsg_len = CMSG_LEN(sizeof(in6_pktinfo));
        in6_pktinfo info{}; // from an address that the system chooses
        info.ipi6_ifindex = place.where.interface;
        std::memcpy(CMSG_DATA(head), &info, sizeof info);
    } else {
        head->cmsg_level = IPPROTO_IP;
        head->cmsg_type = IP_PKTINFO;
        head->cmsg_len = CMSG_LEN(sizeof(in_pktinfo));
        in_pktinfo info{};
        info.ipi_ifindex = static_cast<int>(place.where.interface);
        info.ipi_spec_dst.s_addr = htonl(place.where.at.number);
        std::memcpy(CMSG_DATA(head), &info, sizeof info);
    }
    // Lost ones are asked for again.
    ::sendmsg((place.where.is_six ? socket6 : socket).number(), &message, MSG_DONTWAIT);
}

MdnsResponder::MdnsResponder(std::unique_ptr<Inside> inside) : inside_(std::move(inside)) {}

MdnsResponder::~MdnsResponder() {
    const std::uint64_t one = 1;
    [[maybe_unused]] const auto written = ::write(inside_->stop.number(), &one, sizeof one);
    inside_->thread.join();
}

namespace {

/// Below zero where the machine has no IPv6, or something holds the port alone.
int open_six() {
    const int number = ::socket(AF_INET6, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    const int on = 1;
    const int longest_way = 255; // RFC 6762, section 11
    const auto here = endpoint(Ipv6{}, mdns_port, 0);
    const bool is_open = number >= 0 && set(number, IPPROTO_IPV6, IPV6_V6ONLY, on) &&
                         set(number, SOL_SOCKET, SO_REUSEADDR, on) &&
                         set(number, SOL_SOCKET, SO_REUSEPORT, on) &&
                         set(number, IPPROTO_IPV6, IPV6_RECVPKTINFO, on) &&
                         set(number, IPPROTO_IPV6, IPV6_MULTICAST_HOPS, longest_way) &&
                         set(number, IPPROTO_IPV6, IPV6_UNICAST_HOPS, longest_way) &&
                         ::bind(number, here.raw(), here.length) == 0;
    if (!is_open && number >= 0) {
        ::close(number);
    }
    return is_open ? number : -1;
}

} // namespace

Expected<std::unique_ptr<MdnsResponder>> MdnsResponder::start(Wish wish) {
    const int number = ::socket(AF_INET, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    auto inside = std::make_unique<Inside>(std::move(wish), number, open_six());
    const int on = 1;
    const unsigned char longest_way = 255; // RFC 6762, section 11
    const auto here = endpoint(INADDR_ANY, mdns_port);
    const bool is_open = number >= 0 && set(number, SOL_SOCKET, SO_REUSEADDR, on) &&
                         set(number, SOL_SOCKET, SO_REUSEPORT, on) &&
                         set(number, IPPROTO_IP, IP_PKTINFO, on) &&
                         set(number, IPPROTO_IP, IP_MULTICAST_TTL, longest_way) &&
                         ::bind(number, here.raw(), here.length) == 0;
    if (!is_open) {
        return fail({.code = ErrorCode::bad_setting,
                     .found = fmt::format("phones cannot ask this machine for its name: UDP port {} ({})",
                                          mdns_port, std::strerror(errno)),
                     .expected = "the port for names in the local network, shared with what else uses it",
                     .remedy =
                         "let phones find the name by another way (the router's names), or stop what holds "
                         "the port; all else works"});
    }
    inside->thread = std::thread([working = inside.get()] { working->run(); });
    return std::unique_ptr<MdnsResponder>(new MdnsResponder(std::move(inside)));
}

} // namespace backeddy::server
