package webhook_test

import (
	"encoding/base64"
	"net/netip"
	"strings"
	"testing"
	"time"

	"askwright/service/webhook"
)

// Source: the repository standard-webhooks/standard-webhooks, the test
// TestSymmetricWebhookSign of libraries/go/webhook_symmetric_test.go.
func TestSignatureIsThatOfTheStandard(t *testing.T) {
	t.Parallel()
	secret, err := base64.StdEncoding.DecodeString("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
	if err != nil {
		t.Fatal(err)
	}
	got := webhook.Signature(secret, "msg_p5jXN8AQM9LWM0D4loKWxJek", time.Unix(1614265330, 0), []byte(`{"test": 2432232314}`))
	if want := "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="; got != want {
		t.Errorf("signed %s, want %s", got, want)
	}
}

// specialAddresses are all blocks of IANA's IPv4 and IPv6 Special-Purpose
// Address Registries as of 2026-07-18, by what they say under "Globally
// Reachable": where it is false, not told or not applicable, the block leads to
// no public host.
var specialAddresses = map[bool]string{
	false: `0.0.0.0/8 0.0.0.0/32 10.0.0.0/8 100.64.0.0/10 127.0.0.0/8 169.254.0.0/16 172.16.0.0/12 192.0.0.0/29 192.0.0.8/32
		192.0.0.170/32 192.0.0.171/32 192.0.2.0/24 192.88.99.0/24 192.88.99.2/32 192.168.0.0/16 198.18.0.0/15 198.51.100.0/24
		203.0.113.0/24 240.0.0.0/4 255.255.255.255/32
		::1/128 ::/128 ::ffff:0:0/96 64:ff9b:1::/48 100::/64 100:0:0:1::/64 2001::/32 2001:2::/48 2001:10::/28 2001:db8::/32
		2002::/16 3fff::/20 5f00::/16 fc00::/7 fe80::/10`,
	true: "192.31.196.0/24 192.52.193.0/24 192.175.48.0/24 2620:4f:8000::/48",
}

// Beside the registry: multicast (RFC 5771, RFC 4291), and IPv4 within IPv6
// (RFC 4291 section 2.5.5.2, RFC 6052), also of public addresses.
var otherAddresses = map[bool]string{
	false: "224.0.0.0/4 ff00::/8 ::ffff:192.31.196.1/128 ::ffff:10.0.0.1/128 ::10.0.0.1/128 64:ff9b::10.0.0.1/128 fec0::/10 2002:a00:1::/48",
	true:  "1.0.0.0/8 9.255.255.255/32 11.0.0.0/32 100.63.255.255/32 100.128.0.0/32 172.15.255.255/32 172.32.0.0/32 2600::/16 2a00::/12",
}

func TestOnlyPublicAddresses(t *testing.T) {
	t.Parallel()
	for _, table := range []map[bool]string{specialAddresses, otherAddresses} {
		for want, blocks := range table {
			for block := range strings.FieldsSeq(blocks) {
				p := netip.MustParsePrefix(block)
				for _, a := range []netip.Addr{p.Masked().Addr(), last(p)} {
					if got := webhook.IsPublicAddress(a); got != want {
						t.Errorf("%s of %s: public %t, want %t", a, block, got, want)
					}
				}
			}
		}
	}
	for _, a := range []netip.Addr{{}, netip.MustParseAddr("2600::1%eth0")} {
		if webhook.IsPublicAddress(a) {
			t.Errorf("%s is public", a)
		}
	}
}

// last is the last address of a block.
func last(p netip.Prefix) netip.Addr {
	bytes := p.Masked().Addr().AsSlice()
	for bit := p.Bits(); bit < len(bytes)*8; bit++ {
		bytes[bit/8] |= 1 << (7 - bit%8)
	}
	a, _ := netip.AddrFromSlice(bytes)
	return a
}
