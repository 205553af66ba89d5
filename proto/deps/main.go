// Command deps writes the third-party protos that ours import into a folder, printed from the descriptors that pinned
// Go modules link in. The versions therefore always match the Go code that serves them, and neither generation nor
// linting needs a proto registry.
//
//	go run ./proto/deps .proto-deps
package main

import (
	"fmt"
	"os"
	"path/filepath"
	"sort"
	"strings"

	_ "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	_ "cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/jhump/protoreflect/v2/protoprint"
	_ "google.golang.org/genproto/googleapis/api/annotations"
	_ "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// roots are the files that our protos import; what they import in turn comes along.
var roots = []string{
	"buf/validate/validate.proto",
	"google/api/annotations.proto",
	"google/api/client.proto",
	"google/api/field_behavior.proto",
	"google/api/resource.proto",
	"google/longrunning/operations.proto",
	"google/rpc/status.proto",
}

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: go run ./proto/deps FOLDER")
		os.Exit(2)
	}
	err := run(os.Args[1])
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(folder string) error {
	files := map[string]protoreflect.FileDescriptor{}
	for _, path := range roots {
		file, err := protoregistry.GlobalFiles.FindFileByPath(path)
		if err != nil {
			return fmt.Errorf("find %s: %w", path, err)
		}
		collect(file, files)
	}
	paths := make([]string, 0, len(files))
	for path := range files {
		paths = append(paths, path)
	}
	sort.Strings(paths)
	printer := protoprint.Printer{}
	for _, path := range paths {
		text, err := printer.PrintProtoToString(files[path])
		if err != nil {
			return fmt.Errorf("print %s: %w", path, err)
		}
		target := filepath.Join(folder, filepath.FromSlash(path))
		err = os.MkdirAll(filepath.Dir(target), 0o755)
		if err != nil {
			return fmt.Errorf("make folder of %s: %w", path, err)
		}
		err = os.WriteFile(target, []byte(text), 0o644)
		if err != nil {
			return fmt.Errorf("write %s: %w", path, err)
		}
	}
	return nil
}

// collect adds a file and its imports, except the well-known types, which every proto compiler has.
func collect(file protoreflect.FileDescriptor, into map[string]protoreflect.FileDescriptor) {
	if strings.HasPrefix(file.Path(), "google/protobuf/") || into[file.Path()] != nil {
		return
	}
	into[file.Path()] = file
	imports := file.Imports()
	for i := range imports.Len() {
		collect(imports.Get(i).FileDescriptor, into)
	}
}
