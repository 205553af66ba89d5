package grpcapi

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"google.golang.org/grpc"
	foodsafetypb "rondeau.internal/pkg/gen/rondeau/foodsafety/v1"

	"rondeau.internal/services/foodsafety"
)

const (
	// A batch of readings is committed when it has so many, or when nothing came for so long: a commit costs a disk
	// flush, a reading that waits is not safe.
	streamBatch = 512
	streamPause = 50 * time.Millisecond
	maxRefusals = 1000
)

// StreamReadings implements the RPC. Readings are committed in batches while the stream runs; the answer is sent after
// the last commit.
func (s *Server) StreamReadings(stream grpc.ClientStreamingServer[foodsafetypb.StreamReadingsRequest, foodsafetypb.StreamReadingsResponse]) error {
	messages := make(chan *foodsafetypb.StreamReadingsRequest)
	ended := make(chan error, 1)
	go func() {
		for {
			q, err := stream.Recv()
			if err != nil {
				ended <- err
				return
			}
			select {
			case messages <- q:
			case <-stream.Context().Done():
				ended <- stream.Context().Err()
				return
			}
		}
	}()
	in := &intake{server: s, stream: stream, out: &foodsafetypb.StreamReadingsResponse{}}
	pause := time.NewTimer(streamPause)
	defer pause.Stop()
	for {
		select {
		case q := <-messages:
			if err := in.add(q); err != nil {
				return err
			}
			pause.Reset(streamPause)
		case <-pause.C:
			if err := in.commit(); err != nil {
				return err
			}
		case err := <-ended:
			// What has arrived is kept even when the stream broke: the sender repeats it and it counts as a duplicate.
			if commitErr := in.commit(); commitErr != nil {
				return commitErr
			}
			if !errors.Is(err, io.EOF) {
				return err
			}
			slices.Sort(in.out.FailedChills)
			in.out.FailedChills = slices.Compact(in.out.FailedChills)
			slices.Sort(in.out.ChillsAtRisk)
			in.out.ChillsAtRisk = slices.Compact(in.out.ChillsAtRisk)
			return stream.SendAndClose(in.out)
		}
	}
}

// intake collects the readings of one stream.
type intake struct {
	server *Server
	stream grpc.ClientStreamingServer[foodsafetypb.StreamReadingsRequest, foodsafetypb.StreamReadingsResponse]
	out    *foodsafetypb.StreamReadingsResponse
	site   string
	batch  []foodsafety.NewReading
	first  int64 // index of the first reading of the batch
}

// add takes the readings of one message and commits when there are enough, or when the site changes.
func (in *intake) add(q *foodsafetypb.StreamReadingsRequest) error {
	if q.GetParent() != in.site {
		if err := in.commit(); err != nil {
			return err
		}
		in.site = q.GetParent()
	}
	for _, r := range q.GetReadings() {
		in.batch = append(in.batch, newReading(r))
	}
	if len(in.batch) >= streamBatch {
		return in.commit()
	}
	return nil
}

func (in *intake) commit() error {
	if len(in.batch) == 0 {
		return nil
	}
	// A sender that goes away does not take back what it sent.
	ctx := context.WithoutCancel(in.stream.Context())
	result, err := in.server.service.RecordReadings(ctx, in.site, in.batch, in.first)
	if err != nil {
		return fmt.Errorf("readings %d to %d of the stream: %w", in.first, in.first+int64(len(in.batch))-1, err)
	}
	in.first += int64(len(in.batch))
	in.batch = in.batch[:0]
	in.out.AcceptedCount += result.Accepted
	in.out.DuplicateCount += result.Duplicates
	in.out.RefusedCount += int64(len(result.Refusals))
	in.out.FailedChills = append(in.out.FailedChills, result.Failed...)
	in.noteRisk(result)
	for _, r := range result.Refusals {
		if len(in.out.Refusals) == maxRefusals {
			break
		}
		in.out.Refusals = append(in.out.Refusals, &foodsafetypb.StreamReadingsResponse_Refusal{
			Index: r.Index, Chill: r.Reading.Chill, Probe: r.Reading.Probe, ObserveTime: timestamp(r.Reading.ObserveTime),
			Reason: r.Err.Reason, Message: r.Err.Message,
		})
	}
	return nil
}

// noteRisk keeps the chills at risk as the last batch that touched them left them.
func (in *intake) noteRisk(result *foodsafety.Intake) {
	in.out.ChillsAtRisk = slices.DeleteFunc(in.out.ChillsAtRisk, func(name string) bool { return slices.Contains(result.Touched, name) })
	in.out.ChillsAtRisk = append(in.out.ChillsAtRisk, result.AtRisk...)
}
