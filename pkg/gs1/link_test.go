package gs1_test

import (
	"strings"
	"testing"

	"rondeau.internal/pkg/gs1"
)

func TestDigitalLinksOfTheSyntaxEngine(t *testing.T) {
	t.Parallel()
	cases := []struct{ uri, want string }{ // engine; empty: refused
		{"https://id.gs1.org/01/09520123456788/10/ABC123", "(01)09520123456788(10)ABC123"},
		{"https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426", "(01)09520123456788(10)ABC1(21)12345(17)180426"},
		{"https://id.gs1.org/01/09520123456788?3103=000195", "(01)09520123456788(3103)000195"},
		{"https://example.com/01/09520123456788?3103=000195&3922=0299&17=201225", "(01)09520123456788(3103)000195(3922)0299(17)201225"},
		{"https://id.gs1.org/00/952012345678912345?02=09520123456788&37=25&10=ABC123", "(00)952012345678912345(02)09520123456788(37)25(10)ABC123"},
		{"https://id.gs1.org/414/9520123456788/254/32a%2Fb", "(414)9520123456788(254)32a/b"},
		{"https://a/stem/00/006141411234567890", "(00)006141411234567890"},
		{"https://example.com/01/09520123456788?10=ABC123", ""},
		{"https://id.gs1.org/01/09520123456788/10/ABC123?99=XYZ789&10=ABC123", ""},
		{"https://a/01/2112345678900", ""},
		{"https://a/stem/00/006141411234567890/", ""},
		{"https://a/01/12312312312333/10/", ""},
		{"https://a/01/12312312312333?99=", ""},
		{"https://example.com/01/09520123456788?99=XYZ&89=ABC123", ""},
		// Ours, from the rules: plus in path and query, fragment, other parameters, order of qualifiers, a stem like a key.
		{"https://a/01/12312312312333/10/A+B?99=C+D", ""},
		{"https://a/01/12312312312333/10/A+B?99=C%2BD&linkType=all#17=000000", "(01)12312312312333(10)A+B(99)C+D"},
		{"https://a/01/12312312312333/21/S/10/L", ""},
		{"https://a/01/12312312312333/235/T/10/L", ""},
		{"https://a/01/shop/01/12312312312333", "(01)12312312312333"},
		{"https://a/01/12312312312333?00=006141411234567890", ""},
		{"https://a/01/12312312312333/10/%zz", ""},
		{"https://a/", ""},
		{"https:///01/12312312312333", ""},
		{"ftp://a/01/12312312312333", ""},
	}
	for _, tc := range cases {
		m, err := gs1.ParseDigitalLink(tc.uri)
		if (err == nil) != (tc.want != "") || m.String() != tc.want {
			t.Errorf("%s reads as %q, %v, want %q", tc.uri, m, err, tc.want)
		}
	}
}

func TestDigitalLinksAreWrittenAsPublished(t *testing.T) {
	t.Parallel()
	cases := []struct{ message, stem, want string }{
		// engine
		{"(21)XYZ(01)12312312312333(10)ABC123(99)XYZ", "https://example.com", "https://example.com/01/12312312312333/10/ABC123/21/XYZ?99=XYZ"},
		{"(01)12312312312333(10)ABC+123(99)XYZ+QWERTY", "https://example.com/", "https://example.com/01/12312312312333/10/ABC%2B123?99=XYZ%2BQWERTY"},
		// README of GS1DigitalLinkToolkit.js
		{"(01)05412345000013(10)ABC&+123(3103)000189(3923)2172", gs1.CanonicalStem, "https://id.gs1.org/01/05412345000013/10/ABC%26%2B123?3103=000189&3923=2172"},
		{"(00)952012345678912345(02)09520123456788(37)25(10)ABC123", gs1.CanonicalStem, "https://id.gs1.org/00/952012345678912345?02=09520123456788&37=25&10=ABC123"},
	}
	for _, tc := range cases {
		m, err := gs1.ParseBracketed(tc.message)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := m.DigitalLink(tc.stem); err != nil || got != tc.want {
			t.Errorf("%s = %s, %v, want %s", tc.message, got, err, tc.want)
		}
	}
	refused := []struct{ message, stem, says string }{
		{"(99)XYZ789", gs1.CanonicalStem, "no key"}, // engine
		{"(01)12312312312333(414)9520123456788", gs1.CanonicalStem, "two links"},
		{"(01)12312312312333(10)A(235)B", gs1.CanonicalStem, "other qualifiers"},
		{"(01)12312312312333", "example.com", "web address"},
		{"(01)12312312312333", "https://example.com?x=1", "without query"},
		{"(21)A", gs1.CanonicalStem, "needs"},
	}
	for _, tc := range refused {
		m, err := gs1.ParseBracketed(tc.message)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := m.DigitalLink(tc.stem); err == nil || !strings.Contains(err.Error(), tc.says) {
			t.Errorf("%s = %s, %v, want an error that says %q", tc.message, got, err, tc.says)
		}
	}
}

func TestScansOfTheSyntaxEngine(t *testing.T) {
	t.Parallel()
	cases := []struct{ raw, want string }{ // engine; empty: refused
		{"]C1011231231231233310ABC123\x1d99TESTING", "(01)12312312312333(10)ABC123(99)TESTING"},
		{"]d2011231231231233310ABC123\x1d99TESTING", "(01)12312312312333(10)ABC123(99)TESTING"},
		{"]C1", ""},
		{"]E02112345678900", "(01)02112345678900"},
		{"]E02112345678901", ""},
		{"]Q1https://example.com/01/12312312312333?99=TEST", "(01)12312312312333(99)TEST"},
		// Ours.
		{"]Q3011231231231233310ABC123", "(01)12312312312333(10)ABC123"},
		{"]e0011231231231233310ABC123", "(01)12312312312333(10)ABC123"},
		{"]E402345673", "(01)00000002345673"},
		{"]I112345678901231", "(01)12345678901231"},
		{"]d1hello", ""},
		{"]A0hello", ""},
		{"011231231231233310ABC123", ""},
		{"", ""},
	}
	for _, tc := range cases {
		_, m, err := gs1.ParseScan(tc.raw)
		if (err == nil) != (tc.want != "") || m.String() != tc.want {
			t.Errorf("%q reads as %q, %v, want %q", tc.raw, m, err, tc.want)
		}
	}
}
